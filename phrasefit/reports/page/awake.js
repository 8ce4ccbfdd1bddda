// ------------------------------------------------ a screen that stays on while it is needed

let wake = null; // what the browser gave for keeping the screen on (W3C Screen Wake Lock)
let isAwakeWanted = false;

async function keepAwake() {
  isAwakeWanted = true;
  if (!("wakeLock" in navigator) || wake) return;
  try {
    wake = await navigator.wakeLock.request("screen");
  } catch {
    return; // refused, as with a low battery: the page goes on all the same
  }
  wake.addEventListener("release", () => { wake = null; });
  if (!isAwakeWanted) letSleep(); // no longer needed while the browser was asked
}

function letSleep() {
  isAwakeWanted = false;
  wake?.release();
  wake = null;
}

// A page that is hidden loses the lock; it is asked for again when the page is back.
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible" && isAwakeWanted) keepAwake();
});
