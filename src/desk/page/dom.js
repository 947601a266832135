// Elements from a tag, its attributes and its children. Text always stays text: no file name becomes markup.

const SVG = "http://www.w3.org/2000/svg";

function build(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || (value === false && !name.startsWith("aria-"))) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true && !name.startsWith("aria-") ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const h = (tag, attributes, ...children) => build(document.createElement(tag), attributes, children);
export const svg = (tag, attributes, ...children) => build(document.createElementNS(SVG, tag), attributes, children);

/** A labelled field for text, with a line that helps to fill it in. */
export const textField = (name, label, value, help) => h("p", {}, h("label", { for: name }, label),
  h("input", { id: name, name, type: "text", value: value ?? "", "aria-describedby": help && `${name}-help` }),
  help && h("small", { id: `${name}-help` }, help));

/** Replaces the children of an element. Text being typed into a field stays, and is submitted when the field loses focus. */
export function renew(parent, children) {
  const { id, value } = parent.contains(document.activeElement) ? document.activeElement : {};
  parent.replaceChildren(...children);
  const field = id && document.getElementById(id);
  if (!field) return;
  if (value !== undefined && field.value !== value) {
    field.value = value;
    let submitted = false;
    field.addEventListener("change", () => { submitted = true; });
    field.addEventListener("blur", () => submitted || field.dispatchEvent(new Event("change")));
  }
  field.focus({ preventScroll: true });
}

/** Shows a short message, also to screen readers. */
export function notify(text) {
  const toast = document.getElementById("toast");
  toast.textContent = text;
  toast.classList.toggle("shown", Boolean(text));
  clearTimeout(notify.timer);
  notify.timer = setTimeout(() => toast.classList.remove("shown"), 6000);
}

/** Shows what went wrong and what to do, after the name of the file concerned. */
export function notifyProblem(problem, file) {
  const text = problem.text ?? String(problem);
  notify(`${file ? `${file}: ` : ""}${text}. ${problem.hint ? `${capital(problem.hint)}.` : ""}`);
}

export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
