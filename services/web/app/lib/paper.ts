// Paper is white whatever the screen is. Style sheets know when a page is printed;
// what scripts have drawn has to be drawn anew before, for they get no frame while it is.
const root = document.documentElement;
const changed = new Set<() => void>();

// onPaper calls fn when the page goes to paper, and when it is back on the screen: what
// it draws has to be there when it returns.
export function onPaper(fn: () => void): void { changed.add(fn); }

function lay(on: boolean): void {
  if (root.classList.contains("paper") === on) return;
  root.classList.toggle("paper", on);
  changed.forEach((fn) => fn());
}

addEventListener("beforeprint", () => lay(true));
addEventListener("afterprint", () => lay(false));
matchMedia("print").addEventListener("change", (e) => lay(e.matches));
