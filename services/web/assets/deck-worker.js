// Keeps the deck page as it was last answered, so that it opens without a link. A
// kept page says so in its root element, with the time it is of: it is never
// taken for a live one.
const shelf = "deck";
const patience = 8000; // ms until a link that has not brought the page is none

addEventListener("install", () => skipWaiting());
addEventListener("activate", (e) => e.waitUntil(begin()));
addEventListener("fetch", (e) => {
  if (e.request.mode === "navigate") e.respondWith(page(e.request.url));
});

// begin takes over the pages that are open, and keeps them.
async function begin() {
  await clients.claim();
  for (const c of await clients.matchAll()) await page(c.url).catch(() => undefined);
}

async function page(url) {
  const kept = await caches.open(shelf);
  try {
    const answer = await fetch(url, { redirect: "manual", credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(patience) });
    if (answer.ok) {
      const headers = new Headers(answer.headers);
      headers.set("Date", new Date().toUTCString()); // by this device's clock
      headers.delete("Content-Encoding"); // no longer
      headers.delete("Content-Length");
      await kept.put(url, new Response(await answer.clone().text(), { headers }));
    } else if (answer.type === "opaqueredirect" || answer.status === 403) {
      await kept.delete(url); // signed out, or not for them any more
    }
    return answer;
  } catch (e) {
    const old = await kept.match(url);
    if (!old) throw e;
    const html = (await old.text()).replace("<html ", `<html data-kept="${Date.parse(old.headers.get("Date"))}" `);
    return new Response(html, { headers: old.headers });
  }
}
