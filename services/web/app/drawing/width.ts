// onWidth calls fn when an element has come to another width, with the next picture:
// what fn draws may change its height, which is nobody's news.
export function onWidth(e: Element, fn: () => void): void {
  let known = -1;
  new ResizeObserver(() => {
    if (e.clientWidth === known) return;
    known = e.clientWidth;
    requestAnimationFrame(fn);
  }).observe(e);
}
