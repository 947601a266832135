// Which unit comes first. Both are always shown; the figures were rounded by the program.

let first = localStorage.getItem("units") === "in" ? "in" : "mm";

export const unit = () => first;

export function toggle() {
  first = first === "mm" ? "in" : "mm";
  localStorage.setItem("units", first);
}

/** `214.6 ± 2.3 mm` and `8.45 in`, or the other way round. */
export function written(shown) {
  const mm = `${shown.mm} ± ${shown.mm_u95} mm`;
  const inches = `${shown.in} ± ${shown.in_u95} in`;
  return first === "mm"
    ? { large: shown.mm, unit: "mm", about: `± ${shown.mm_u95} mm`, first: mm, second: `${shown.in} in` }
    : { large: shown.in, unit: "in", about: `± ${shown.in_u95} in`, first: inches, second: `${shown.mm} mm` };
}
