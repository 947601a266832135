// What was found: widths, what makes them unsure, what was corrected, verdicts, and keeping it.

import * as api from "./api.js";
import { h, renew } from "./dom.js";
import { fromField, inField, papers, roughly, unit, written } from "./units.js";

/** What a refusal's hint says of the command line's options is said here of the page. */
const onPage = (hint) => hint
  .replace(/say --view top or --view underside where one is mistaken/, "choose the view under Photo and card where one is mistaken")
  .replace(/give --view underside if this is one/, "choose the view under Photo and card if this is one")
  .replace(/measure each photo by itself and look at its overlay/, "look at the lines of each photo by itself")
  .replace(/give --lift \S+/g, "fill in the heights")
  .replace(/give (its|the) two ends (of the seat form )?with --front and --rear/, "show its two ends on the photo")
  .replace(/give its ends with --front and --rear/, "show its two ends on the photo")
  .replace(/give --front and --rear as x,y in pixels of the upright photo, at the two ends of the seat form/, "show the two ends again")
  .replace(/say so with --view top or --view underside/, "choose the view under Photo and card")
  .replace(/measure the lift and give (it )?with --lift\S*/, "fill in the heights")
  .replace(/--lift \S*/g, "the table of heights").replace(/--bar/g, "the bar’s length").replace(/--lens/g, "a lens file");

const OF_THE_SADDLE = ["no-saddle", "edges-not-found", "midline-outside", "view-unclear", "saddle-cut-off"];
/** Whether a refusal is about the saddle, and may be mended by showing its ends. */
export const ofTheSaddle = (refusal) => OF_THE_SADDLE.includes(refusal.code);

/** `show` lets the ends be pointed at, where that may help; `alone` leaves the photos out that it was measured together with. */
export function refusalPanel({ file, refusal }, show, alone) {
  return h("section", { class: "refusal", role: "alert" },
    h("h2", {}, alone ? "These photos cannot be measured together" : "This photo cannot be measured"),
    h("p", {}, `${refusal.text.startsWith(file) ? refusal.text : capital(refusal.text)}.`),
    h("p", {}, h("strong", {}, "What to do: "), `${onPage(refusal.hint)}.`),
    alone && h("button", { type: "button", id: "alone", onclick: alone }, "Measure this photo alone again"),
    show && !alone && ofTheSaddle(refusal) && h("button", { type: "button", id: "show-ends", onclick: show }, "Show the two ends on the photo"));
}

/** What a photo is worth before anything is traced in it, and what would make the next one better. */
export function judgedPanel(id) {
  const place = h("section", { class: "panel", id: "judged", "aria-label": "The photo itself" });
  const told = ({ headline, reasons }) => place.replaceChildren(h("div", {}, h("h2", {}, "The photo itself"), h("p", {}, `${capital(headline)}.`),
    reasons.length > 0 && h("ol", {}, reasons.map((r) => h("li", {}, `${capital(r.text)}. `, h("strong", {}, `${capital(onPage(r.hint))}.`))))));
  api.check(id).then(told, (trouble) => place.replaceChildren(h("p", {}, trouble.text)));
  return place;
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

export function widthsPanel(findings) {
  const one = (width) => {
    const w = written(width.shown);
    return h("li", { class: "width", "data-width": width.name, "data-mm": width.mm },
      h("span", { class: "label" }, width.label),
      h("span", { class: "figure" }, h("b", {}, w.large), " ", w.unit),
      h("span", { class: "about" }, w.about), h("span", { class: "second" }, w.second),
      h("details", {}, h("summary", {}, "why not surer?"),
        h("p", { class: "fine" }, `Taken at ${width.at} of the way from front to rear. What makes it unsure, the largest first:`),
        h("ul", {}, width.budget.map((line) =>
          h("li", {}, `${line.from}: ${line.u_mm} mm`, line.better && h("small", {}, ` – ${onPage(line.better)}`))))));
  };
  const stations = h("details", {}, h("summary", {}, "Widths at all stations"),
    h("table", { class: "stations" },
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "along it"), h("th", { scope: "col" }, "seat"),
        findings.view === "underside" && h("th", { scope: "col" }, "channel"))),
      h("tbody", {}, findings.stations.map((s) => h("tr", {}, h("th", { scope: "row" }, s.at),
        h("td", {}, s.seat ? written(s.seat).first : "not traced"),
        findings.view === "underside" && h("td", {}, s.channel ? written(s.channel).first : "not traced"))))));
  return h("section", { class: "panel", id: "widths", "aria-labelledby": "widths-head" },
    h("h2", { id: "widths-head" }, "Widths"),
    findings.together && h("p", { class: "fine" }, `Measured together in ${findings.together.photos.length} photos.`),
    h("ul", { class: "widths", "aria-live": "polite" }, findings.widths.map(one)),
    findings.taper && h("p", {}, `Front taper ${findings.taper.deg.replace("-", "−")} ± ${findings.taper.u95}°: ${findings.taper.words}`),
    h("p", { class: "fine" }, "± is meant so that a level caliper would show a width within it in 95 of 100 cases. Left and right are the rider’s."),
    stations);
}

export function cautionsPanel(findings) {
  if (!findings.warnings.length && !findings.doubts.length) return null;
  const doubt = (d) => h("li", {}, `${capital(d.part)} ${d.side} edge, ${stretch(d.from_at.toFixed(2), d.to_at.toFixed(2))}: another line ${Math.abs(d.apart_mm).toFixed(1)} mm further ${d.apart_mm > 0 ? "outside" : "inside"} may be the edge (${Math.round(d.probability * 100)} %). Look, and click where it runs.`);
  const stretch = (from, to) => (from === to ? `at ${from}` : `${from} to ${to}`);
  return h("section", { class: "panel cautions", "aria-labelledby": "cautions-head" },
    h("h2", { id: "cautions-head" }, "Look at this"),
    h("ul", {}, findings.warnings.map((w) => h("li", {}, `${capital(w.text)}. `, h("strong", {}, `${capital(onPage(w.hint))}.`))),
      findings.doubts.map(doubt)));
}

export function correctionsPanel(photo, changed) {
  const { edits } = photo;
  const without = (list, i) => list.filter((_, at) => at !== i);
  const row = (text, act) => h("li", {}, text, " ", h("button", { type: "button", class: "quiet", onclick: act, "aria-label": `Take back: ${text}` }, "take back"));
  const rows = [
    edits.ends && row("midline’s ends set by hand", () => changed({ ends: null })),
    edits.hints.map((hint, i) => row(`${hint.part} edge shown at ${hint.px.map(Math.round).join(", ")}`, () => changed({ hints: without(edits.hints, i) }))),
    edits.hidden.map((s, i) => row(`${s.part} ${s.side} edge struck out from ${s.from.toFixed(2)} to ${s.to.toFixed(2)}`, () => changed({ hidden: without(edits.hidden, i) }))),
  ].flat().filter(Boolean);
  return h("section", { class: "panel", "aria-labelledby": "corrected-head" },
    h("h2", { id: "corrected-head" }, "Corrected by hand"),
    edits.with.length > 0 && h("p", { class: "fine" }, "What is corrected here is corrected in this photo. Each of the others is corrected on its own table, and what all say together follows."),
    rows.length ? h("ul", { id: "corrections" }, rows) : h("p", { class: "fine" }, "Nothing yet. What you correct is written into the sheet and the report."));
}

export function settingsPanel(photo, changed) {
  const { edits, findings } = photo;
  const view = (value, label) => h("label", {},
    h("input", { type: "radio", name: "view", checked: edits.view === value, onchange: () => changed({ view: value }) }), ` ${label}`);
  return h("section", { class: "panel", "aria-labelledby": "settings-head" },
    h("h2", { id: "settings-head" }, "Photo and card"),
    h("fieldset", { class: "choice" }, h("legend", {}, "The saddle is seen"), view(null, "told by the program"), view("top", "from above"), view("underside", "upside down")),
    h("p", {}, h("label", { for: "bar" }, "Length of the card’s bar, by your ruler "),
      h("input", { id: "bar", type: "number", step: "any", min: inField(135, 3), max: inField(165, 3), placeholder: inField(150, 3), value: edits.bar_mm === null ? "" : inField(edits.bar_mm, 3), onchange: (event) => changed({ bank_card: false, bar_mm: event.target.value === "" ? null : fromField(event.target.value) }) }), ` ${unit()}`),
    h("p", {}, h("label", {},
      h("input", { type: "checkbox", checked: edits.bank_card, onchange: (event) => changed({ bank_card: event.target.checked, bar_mm: null }) }),
      " A card of a bank card’s size lies in the frame on the printed card, and tells its true size")),
    findings?.cards?.some((c) => c.print_scale_by === "bank-card") && h("p", { class: "fine" }, `Printed at ${(100 * findings.cards[0].print_scale).toFixed(1)} % by the card in the frame.`),
    lensPlace(photo, changed),
    findings?.camera && h("p", { class: "fine" }, `Photographed from ${roughly(findings.camera.height_mm)} above the card, tilted by ${findings.camera.tilt_deg.toFixed(0)}°; ${findings.cards.map((c) => `${c.tags} marks of the card used`).join(", ")}.`));
}

/** Which lens file is used, and the choice where the folder has some. */
function lensPlace(photo, changed) {
  const { edits, findings } = photo;
  const used = photo.lens ? `Lens file: ${photo.lens}.` : "Without a lens file: the card and what the photo says of its camera tell the lens.";
  const place = h("div", { id: "lens-place" }, h("p", { class: "fine" }, findings && used));
  const choice = ({ camera, picked, found }) => {
    const option = (value, words, more) => h("option", { value, selected: value === (edits.lens ?? ""), ...more }, words);
    const own = picked ?? (camera ? `none is of ${camera}` : "the photo does not name its camera");
    if (!found.length) {
      return h("p", { class: "fine" }, "A lens file says how one camera pictures a straight line, and makes widths surer. There is none in the shelf’s folder; the command seatspan lens makes one.");
    }
    return h("p", {}, h("label", { for: "lens" }, "Lens file "),
      h("select", { id: "lens", onchange: (event) => changed({ lens: event.target.value || null }) },
        option("", `that of the photo’s camera (${own})`), option("none", "none"),
        found.map((f) => option(f.file, f.serves ? f.file : `${f.file} (does not fit)`, { disabled: !f.serves, title: f.why_not }))));
  };
  api.lenses(photo.id).then((told) => renew(place, [place.firstChild, choice(told)]), () => {});
  return place;
}

export function verdictsPanel(told) {
  const note = (n) => h("li", {}, n.word && h("span", { class: "word" }, n.word), " ", h("strong", {}, n.title), h("p", {}, n.text));
  return h("section", { class: "panel", id: "verdicts", "aria-labelledby": "verdicts-head" },
    h("h2", { id: "verdicts-head" }, told.for_a_rider ? `For ${told.rider ?? "the rider"}` : "For a rider"),
    !told.for_a_rider && h("p", {}, "No rider is chosen: only what needs no rider is judged. ", h("a", { href: "#rider" }, "Choose or fill in a rider")),
    h("ul", { class: "notes" }, told.notes.slice(0, 3).map(note)),
    told.notes.length > 3 && h("details", {}, h("summary", {}, "Rule by rule"), h("ul", { class: "notes" }, told.notes.slice(3).map(note))),
    h("details", {}, h("summary", {}, "Cautions"), h("ul", { class: "fine" }, told.cautions.map((c) => h("li", {}, c)))));
}

export function keepPanel(photo, act) {
  return h("section", { class: "panel", "aria-labelledby": "keep-head" },
    h("h2", { id: "keep-head" }, "Keep it"),
    h("p", {}, h("label", { for: "name" }, "Name of the saddle"),
      h("input", { id: "name", type: "text", maxlength: "80", value: photo.edits.name || photo.name, onchange: (event) => act.changed({ name: event.target.value }) })),
    h("p", {}, h("label", { for: "note" }, "Remark"),
      h("input", { id: "note", type: "text", maxlength: "300", value: photo.edits.note, onchange: (event) => act.changed({ note: event.target.value }) })),
    h("p", { class: "buttons" },
      h("button", { type: "button", class: "primary", id: "keep", onclick: () => act.keep(false) }, "Keep on the shelf"),
      h("a", { class: "button", id: "report", href: `/api/photos/${photo.id}/report.html`, target: "_blank", rel: "noopener" }, "Report to print"),
      h("a", { class: "button", href: `/api/photos/${photo.id}/report.pdf` }, "PDF"),
      h("button", { type: "button", class: "quiet", id: "off", onclick: act.remove }, "Take off the desk")),
    h("details", {}, h("summary", {}, "For a sale"),
      h("p", { class: "fine" }, "The geometry alone, nothing of a rider: what was measured, how, and how surely. With the plan at true scale a buyer can lay the outline on a seat or a saddle."),
      h("p", { class: "buttons" }, ["a4", "letter"].map((paper) =>
        h("a", { class: "button", href: `/api/photos/${photo.id}/report.pdf?for=sale&true-scale=yes&paper=${paper}&units=${unit()}` }, `Sheet and plan, ${papers[paper]} (PDF)`)))),
    h("p", { id: "kept", role: "status" }, photo.kept ? `On the shelf as ${photo.kept}` : ""));
}
