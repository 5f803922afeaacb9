// Elements in few words. Nothing is ever parsed as markup.

export type Child = Node | string | null | undefined | false;
type Attributes = Record<string, string | number | boolean | undefined>;

// el makes an element. An attribute that is false or undefined is left out.
export function el<K extends keyof HTMLElementTagNameMap>(tag: K, attributes: Attributes = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const e = document.createElement(tag);
  set(e, attributes);
  for (const c of children) if (c) e.append(c);
  return e;
}

// nodes leaves out the children that are none.
export function nodes(...children: Child[]): (Node | string)[] { return children.filter((c): c is Node | string => !!c); }

const svgNS = "http://www.w3.org/2000/svg";

// svg is el for drawings.
export function svg<K extends keyof SVGElementTagNameMap>(tag: K, attributes: Attributes = {}, ...children: Child[]): SVGElementTagNameMap[K] {
  const e = document.createElementNS(svgNS, tag);
  set(e, attributes);
  for (const c of children) if (c) e.append(c);
  return e;
}

function set(e: Element, attributes: Attributes): void {
  for (const [name, v] of Object.entries(attributes)) {
    if (v !== false && v !== undefined) e.setAttribute(name, v === true ? "" : String(v));
  }
}

// text changes an element's text only where it differs: what stays is not laid out
// again.
export function text(e: Element, t: string): void {
  if (e.textContent !== t) e.textContent = t;
}

// attribute sets one, or takes it away with undefined, only where it differs.
export function attribute(e: Element, name: string, v: string | undefined): void {
  if (v === undefined) {
    if (e.hasAttribute(name)) e.removeAttribute(name);
  } else if (e.getAttribute(name) !== v) {
    e.setAttribute(name, v);
  }
}

// inOrder makes children the only ones, in order, moving as few as it can: what
// has the focus keeps it.
export function inOrder(parent: Element, children: readonly Element[]): void {
  const wanted = new Set(children);
  for (const c of [...parent.children]) if (!wanted.has(c)) c.remove();
  let at = parent.firstElementChild;
  for (const c of children) {
    if (c === at) at = at.nextElementSibling;
    else parent.insertBefore(c, at);
  }
}

// must finds an element that the page has.
export function must<E extends Element = HTMLElement>(selector: string, root: ParentNode = document): E {
  const e = root.querySelector<E>(selector);
  if (!e) throw new Error(`no ${selector} in the page`);
  return e;
}
