// What the scripts of the tablet share: finding a part of the page, and making one.

/**
 * Return the part of the page that a selector names. A page without it is a fault of ours.
 *
 * @template {string} S
 * @param {S} selector
 * @param {ParentNode} [around]
 * @returns {Found<S>}
 */
export function find(selector, around = document) {
  const found = around.querySelector(selector);
  if (!found) throw new Error(`This page has no ${selector}.`);
  return found;
}

/**
 * Return what an event happened in, as a selector names it.
 *
 * @template {string} S
 * @param {Event} event
 * @param {S} selector
 * @returns {Found<S> | null}
 */
export function within(event, selector) {
  return event.target instanceof Element ? event.target.closest(selector) : null;
}

/**
 * Return who works on this tablet, by id; "" where nobody is signed in.
 *
 * @returns {string}
 */
export function person() {
  return document.querySelector('meta[name="person"]')?.content ?? "";
}

/**
 * Make an element of the page.
 *
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {{ text?: string, [attribute: string]: string | undefined }} [described]
 * @param {(Node | string)[]} inside
 * @returns {HTMLElementTagNameMap[T]}
 */
export function element(tag, { text = "", ...attributes } = {}, ...inside) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value ?? "");
  made.append(...inside);
  return made;
}
