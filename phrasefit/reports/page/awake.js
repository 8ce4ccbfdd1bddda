// ----------------------------------------- a screen that stays on while the song plays

let wake = null; // what the browser gave for keeping the screen on (W3C Screen Wake Lock)

async function keepAwake() {
  if (!("wakeLock" in navigator) || wake) return;
  try {
    wake = await navigator.wakeLock.request("screen");
  } catch {
    return; // refused, as with a low battery: the page plays on all the same
  }
  wake.addEventListener("release", () => { wake = null; });
  if (!sound.playing) letSleep(); // paused while the browser was asked
}

function letSleep() {
  wake?.release();
  wake = null;
}

// A page that is hidden loses the lock; it is asked for again when the page is back.
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible" && sound.playing) keepAwake();
});
