// ---------------------------------------------- whether anything can sound on this device
//
// Knows nothing of the page.  Without a sound device some browsers wait for ever, and say so
// of an audio element only in words for their makers.

const STARTS_WITHIN_MS = 2000;
const NO_SOUND = "nothing can sound here: this browser finds no loudspeaker or headphones."
  + " Switch some on or plug them in, then load this page again";

/** Start the audio clock; throws in words where it has not started soon. */
async function startClock(context) {
  let late;
  const told = new Promise((_, refuse) => {
    late = setTimeout(() => refuse(new Error(NO_SOUND)), STARTS_WITHIN_MS);
  });
  try {
    await Promise.race([context.resume(), told]);
  } finally {
    clearTimeout(late);
  }
}

/** Say why an audio element gave up, or `otherwise` where it is not for want of a sound device. */
const whySilent = ({ error }, otherwise) =>
  (error?.code === MediaError.MEDIA_ERR_DECODE && /sink|cubeb/i.test(error.message) ? NO_SOUND : otherwise);
