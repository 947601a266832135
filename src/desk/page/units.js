// Which unit comes first. Both are always shown; the figures were rounded by the program.

let first = localStorage.getItem("units") === "in" ? "in" : "mm";

export const unit = () => first;

export function toggle() {
  first = first === "mm" ? "in" : "mm";
  localStorage.setItem("units", first);
}

/** Sizes of paper, as people call them. */
export const papers = { a4: "A4", letter: "US Letter" };

const MM_PER_INCH = 25.4;

/** What stands in a field for a length, in the unit that comes first. */
export const inField = (mm, decimals = 2) => (first === "mm" ? `${mm}` : `${Number((mm / MM_PER_INCH).toFixed(decimals))}`);
/** The length that a field's text means, mm. */
export const fromField = (text) => Number((Number(text) * (first === "mm" ? 1 : MM_PER_INCH)).toFixed(2));

/** A length that needs no decimals, in both units. */
export function roughly(mm) {
  const both = [`${Math.round(mm)} mm`, `${Math.round(mm / MM_PER_INCH)} in`];
  if (first === "in") both.reverse();
  return `${both[0]} (${both[1]})`;
}

/** `214.6 ± 2.3 mm` and `8.45 in`, or the other way round. */
export function written(shown) {
  const mm = `${shown.mm} ± ${shown.mm_u95} mm`;
  const inches = `${shown.in} ± ${shown.in_u95} in`;
  return first === "mm"
    ? { large: shown.mm, unit: "mm", about: `± ${shown.mm_u95} mm`, first: mm, second: `${shown.in} in` }
    : { large: shown.in, unit: "in", about: `± ${shown.in_u95} in`, first: inches, second: `${shown.mm} mm` };
}
