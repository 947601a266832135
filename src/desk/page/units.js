// The preferred unit. Both units are always shown; the program rounds the figures.

let preferred = localStorage.getItem("units") === "in" ? "in" : "mm";

export const unit = () => preferred;

export function toggle() {
  preferred = preferred === "mm" ? "in" : "mm";
  localStorage.setItem("units", preferred);
}

/** Paper sizes and their names. */
export const papers = { a4: "A4", letter: "US Letter" };

const MM_PER_INCH = 25.4;

/** The text of an input field for a length. */
export const inField = (mm, decimals = 2) => (preferred === "mm" ? `${mm}` : `${Number((mm / MM_PER_INCH).toFixed(decimals))}`);
/** The length in an input field, mm. */
export const fromField = (text) => Number((Number(text) * (preferred === "mm" ? 1 : MM_PER_INCH)).toFixed(2));

/** A length in whole millimetres and inches. */
export function roughly(mm) {
  const both = [`${Math.round(mm)} mm`, `${Math.round(mm / MM_PER_INCH)} in`];
  if (preferred === "in") both.reverse();
  return `${both[0]} (${both[1]})`;
}

/** The texts of a length with its uncertainty, preferred unit first. */
export function written(shown) {
  const mm = `${shown.mm} ± ${shown.mm_u95} mm`;
  const inches = `${shown.in} ± ${shown.in_u95} in`;
  return preferred === "mm"
    ? { large: shown.mm, unit: "mm", about: `± ${shown.mm_u95} mm`, first: mm, second: `${shown.in} in` }
    : { large: shown.in, unit: "in", about: `± ${shown.in_u95} in`, first: inches, second: `${shown.mm} mm` };
}
