// Keeps the deck page as it was last answered, so that it opens without a link. A
// kept page says so in its root element, with the time it is of: it is never
// taken for a live one.
const shelf = "deck";
const patience = 8000; // ms until a link that has not brought the page is none

addEventListener("activate", (e) => e.waitUntil(clients.claim()));
addEventListener("install", () => skipWaiting());

addEventListener("fetch", (e) => {
  if (e.request.mode === "navigate") e.respondWith(page(e.request));
});

async function page(request) {
  const kept = await caches.open(shelf);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(patience) });
    if (answer.ok && !answer.redirected) {
      const copy = answer.clone();
      const headers = new Headers(copy.headers);
      headers.set("Date", new Date().toUTCString()); // by this device's clock
      headers.delete("Content-Encoding"); // no longer
      await kept.put(request.url, new Response(await copy.text(), { status: 200, headers }));
    } else if (answer.type === "opaqueredirect" || answer.status === 403) {
      await kept.delete(request.url); // signed out, or not for them any more
    }
    return answer;
  } catch (e) {
    const old = await kept.match(request.url);
    if (!old) throw e;
    const html = (await old.text()).replace("<html ", `<html data-kept="${Date.parse(old.headers.get("Date"))}" `);
    return new Response(html, { status: 200, headers: old.headers });
  }
}
