// The deck page opens without a link, with what it last had, once its worker has
// been here. The worker needs a secure context: https, or this device itself.

export function install(): void {
  if (!("serviceWorker" in navigator)) return;
  navigator.serviceWorker.register(worker(), { scope: "/deck" }).catch((e: unknown) => console.warn(e));
}

// worker is the worker's address, trusted as such where browsers ask for that.
function worker(): string {
  const types = (window as { trustedTypes?: { createPolicy(name: string, p: { createScriptURL: () => string }): { createScriptURL(s: string): string } } }).trustedTypes;
  const path = "/assets/deck-worker.js";
  return types ? types.createPolicy("worker", { createScriptURL: () => path }).createScriptURL(path) : path;
}
