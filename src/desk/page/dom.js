// Elements from a tag, its attributes and its children. Text is always text: nothing a file is called becomes markup.

const SVG = "http://www.w3.org/2000/svg";

function built(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || (value === false && !name.startsWith("aria-"))) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true && !name.startsWith("aria-") ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const h = (tag, attributes, ...children) => built(document.createElement(tag), attributes, children);
export const svg = (tag, attributes, ...children) => built(document.createElementNS(SVG, tag), attributes, children);

/** New children for a place; what is being typed into one of its fields stays, and is told once the field is left. */
export function renew(place, children) {
  const { id, value } = place.contains(document.activeElement) ? document.activeElement : {};
  place.replaceChildren(...children);
  const field = id && document.getElementById(id);
  if (!field) return;
  if (value !== undefined && field.value !== value) {
    field.value = value;
    let told = false;
    field.addEventListener("change", () => { told = true; });
    field.addEventListener("blur", () => told || field.dispatchEvent(new Event("change")));
  }
  field.focus({ preventScroll: true });
}

/** Says something to people who look and to those who listen. */
export function say(text) {
  const place = document.getElementById("said");
  place.textContent = text;
  place.classList.toggle("shown", Boolean(text));
  clearTimeout(say.later);
  say.later = setTimeout(() => place.classList.remove("shown"), 6000);
}
