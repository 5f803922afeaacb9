// Keeps the page up to date. The server sends the main part as it was first
// drawn; what differs is put in, so that focus, typing and selection stay.

const main = document.getElementById("main");
const link = document.getElementById("link");
const age = document.getElementById("age");
const quietAfter = 5000; // ms without a picture until the page is not live
let heard = Date.now();

const local = new Intl.DateTimeFormat(undefined, {
  day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", second: "2-digit",
  hour12: false, timeZoneName: "short",
});

// localise shows times in the viewer's zone, with UTC on hover.
function localise(root) {
  for (const t of root.querySelectorAll("time")) {
    const at = new Date(t.dateTime);
    if (isNaN(at)) continue;
    t.title = t.textContent;
    t.textContent = local.format(at);
  }
}

const key = (node) => (node.dataset ? node.dataset.key : undefined);

// patch makes the children of old those of next. Elements with a data-key are
// moved, not rewritten: a button stays that of its alarm.
function patch(old, next) {
  const kept = new Map();
  for (const child of old.children) if (key(child)) kept.set(key(child), child);
  let at = old.firstChild;
  for (const want of [...next.childNodes]) {
    let have = key(want) ? kept.get(key(want)) : at;
    if (have && !key(want) && key(have)) have = null;
    if (!have || have.nodeType !== want.nodeType || have.nodeName !== want.nodeName) {
      old.insertBefore(want, at);
      continue;
    }
    if (have === at) at = at.nextSibling;
    else old.insertBefore(have, at);
    if (have.nodeType !== Node.ELEMENT_NODE) {
      if (have.data !== want.data) have.data = want.data;
      continue;
    }
    for (const { name } of [...have.attributes]) {
      if (!want.hasAttribute(name) && name !== "open") have.removeAttribute(name);
    }
    for (const { name, value } of want.attributes) {
      if (have.getAttribute(name) !== value) have.setAttribute(name, value);
    }
    patch(have, want);
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

// settle shows whether the page is live.
function settle() {
  const quiet = Date.now() - heard;
  const cut = quiet > quietAfter;
  document.body.classList.toggle("cut", cut);
  const text = cut ? "Not live: figures are old, no answer from the server for" : "Connected";
  if (link.textContent !== text) link.textContent = text;
  age.textContent = cut ? `${Math.round(quiet / 1000)} s` : "";
  const title = document.getElementById("alarms-title");
  const waiting = title ? Number(title.dataset.waiting) : 0;
  const name = document.title.replace(/^\(\d+\) /, "");
  document.title = waiting > 0 ? `(${waiting}) ${name}` : name;
}

function follow() {
  const source = new EventSource("/live" + location.search);
  source.addEventListener("picture", (e) => {
    const t = document.createElement("template");
    t.innerHTML = e.data;
    localise(t.content);
    patch(main, t.content);
    remember();
    heard = Date.now();
    settle();
  });
  source.addEventListener("error", () => {
    if (source.readyState === EventSource.CLOSED) setTimeout(follow, 5000);
    signedOut();
  });
}

// signedOut goes to where one signs in when the session is over: the page then
// answers with the way there.
async function signedOut() {
  try {
    const page = await fetch("/", { method: "HEAD", redirect: "manual", cache: "no-store" });
    if (page.type === "opaqueredirect") location.reload();
  } catch {
    // no answer: the page says so
  }
}

const known = new WeakSet();

// remember keeps the name that acknowledges on this device.
function remember() {
  const by = document.querySelector('input[name="by"]');
  if (!by || known.has(by)) return;
  known.add(by);
  try {
    by.value = by.value || localStorage.getItem("by") || "";
    by.addEventListener("change", () => localStorage.setItem("by", by.value));
  } catch {
    // storage is off: the name is typed each time
  }
}

localise(document);
remember();
settle();
setInterval(settle, 1000);
follow();
