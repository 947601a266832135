// Panels beside the photo: refusal, widths and their uncertainty, warnings, corrections, settings, verdicts, saving.

import * as api from "./api.js";
import { capital, h, renew } from "./dom.js";
import { fromField, inField, papers, roughly, unit, written } from "./units.js";

const ABOUT_SADDLE = ["no-saddle", "edges-not-found", "midline-outside", "view-unclear", "saddle-cut-off"];
/** Whether a refusal is about the saddle, so that showing its ends may help. */
export const concernsSaddle = (refusal) => ABOUT_SADDLE.includes(refusal.code);

/** `show` starts clicking the ends; `alone` measures the photo without the others. */
export function refusalPanel({ file, refusal }, show, alone) {
  return h("section", { class: "refusal", role: "alert" },
    h("h2", {}, alone ? "These photos cannot be measured together" : "This photo cannot be measured"),
    h("p", {}, `${refusal.text.startsWith(file) ? refusal.text : capital(refusal.text)}.`),
    h("p", {}, h("strong", {}, "What to do: "), `${capital(refusal.hint)}.`),
    alone && h("button", { type: "button", id: "alone", onclick: alone }, "Measure this photo alone"),
    show && !alone && concernsSaddle(refusal) && h("button", { type: "button", id: "show-ends", onclick: show }, "Click the two ends on the photo"));
}

/** The photo check: what a width would be worth, and how to photograph better. */
export function checkPanel(id) {
  const place = h("section", { class: "panel", id: "check", "aria-label": "Photo check" });
  const show = ({ headline, reasons }) => place.replaceChildren(h("div", {}, h("h2", {}, "Photo check"), h("p", {}, `${capital(headline)}.`),
    reasons.length > 0 && h("ol", {}, reasons.map((r) => h("li", {}, `${capital(r.text)}. `, h("strong", {}, `${capital(r.hint)}.`))))));
  api.check(id).then(show, (problem) => place.replaceChildren(h("p", {}, problem.text)));
  return place;
}

export function widthsPanel(findings) {
  const one = (width) => {
    const w = written(width.shown);
    return h("li", { class: "width", "data-width": width.name, "data-mm": width.mm },
      h("span", { class: "label" }, width.label),
      h("span", { class: "figure" }, h("b", {}, w.large), " ", w.unit),
      h("span", { class: "about" }, w.about), h("span", { class: "second" }, w.second),
      h("details", {}, h("summary", {}, "What limits this?"),
        h("p", { class: "fine" }, `Measured at ${width.at} of the way from front to rear. Sources of uncertainty, the largest first:`),
        h("ul", {}, width.budget.map((line) =>
          h("li", {}, `${line.from}: ${line.u_mm} mm`, line.better && h("small", {}, ` – ${line.better}`))))));
  };
  const stations = h("details", {}, h("summary", {}, "Width along the saddle"),
    h("table", { class: "stations" },
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "station"), h("th", { scope: "col" }, "seat"),
        findings.view === "underside" && h("th", { scope: "col" }, "channel"))),
      h("tbody", {}, findings.stations.map((s) => h("tr", {}, h("th", { scope: "row" }, s.at),
        h("td", {}, s.seat ? written(s.seat).first : "not traced"),
        findings.view === "underside" && h("td", {}, s.channel ? written(s.channel).first : "not traced"))))));
  return h("section", { class: "panel", id: "widths", "aria-labelledby": "widths-head" },
    h("h2", { id: "widths-head" }, "Widths"),
    findings.together && h("p", { class: "fine" }, `Measured from ${findings.together.photos.length} photos together.`),
    h("ul", { class: "widths", "aria-live": "polite" }, findings.widths.map(one)),
    findings.taper && h("p", {}, `Front taper ${findings.taper.deg.replace("-", "−")} ± ${findings.taper.u95}°: ${findings.taper.words}`),
    h("p", { class: "fine" }, "A level caliper would show a width within ± in about 95 of 100 cases. Left and right are the rider’s."),
    stations);
}

export function cautionsPanel(findings) {
  if (!findings.warnings.length && !findings.doubts.length) return null;
  const doubt = (d) => h("li", {}, `${capital(d.part)} ${d.side} edge, ${stretch(d.from_at.toFixed(2), d.to_at.toFixed(2))}: another line ${Math.abs(d.apart_mm).toFixed(1)} mm further ${d.apart_mm > 0 ? "outside" : "inside"} may be the edge (${Math.round(d.probability * 100)} %). Zoom in, and click the right line.`);
  const stretch = (from, to) => (from === to ? `at ${from}` : `${from} to ${to}`);
  return h("section", { class: "panel cautions", "aria-labelledby": "cautions-head" },
    h("h2", { id: "cautions-head" }, "Please check"),
    h("ul", {}, findings.warnings.map((w) => h("li", {}, `${capital(w.text)}. `, h("strong", {}, `${capital(w.hint)}.`))),
      findings.doubts.map(doubt)));
}

export function correctionsPanel(photo, changed) {
  const { edits } = photo;
  const without = (list, i) => list.filter((_, at) => at !== i);
  const row = (text, act) => h("li", {}, text, " ", h("button", { type: "button", class: "quiet", onclick: act, "aria-label": `Undo: ${text}` }, "undo"));
  const rows = [
    edits.ends && row("midline’s ends set by hand", () => changed({ ends: null })),
    edits.hints.map((hint, i) => row(`${hint.part} edge clicked at ${hint.px.map(Math.round).join(", ")}`, () => changed({ hints: without(edits.hints, i) }))),
    edits.hidden.map((s, i) => row(`${s.part} ${s.side} edge hidden from ${s.from.toFixed(2)} to ${s.to.toFixed(2)}`, () => changed({ hidden: without(edits.hidden, i) }))),
  ].flat().filter(Boolean);
  return h("section", { class: "panel", "aria-labelledby": "corrected-head" },
    h("h2", { id: "corrected-head" }, "Corrected by hand"),
    edits.with.length > 0 && h("p", { class: "fine" }, "Corrections here apply to this photo. Open each of the others to correct it; the joint result follows."),
    rows.length ? h("ul", { id: "corrections" }, rows) : h("p", { class: "fine" }, "Nothing yet. Corrections are noted in the sheet and the report."));
}

export function settingsPanel(photo, changed) {
  const { edits, findings } = photo;
  const view = (value, label) => h("label", {},
    h("input", { type: "radio", name: "view", checked: edits.view === value, onchange: () => changed({ view: value }) }), ` ${label}`);
  return h("section", { class: "panel", "aria-labelledby": "settings-head" },
    h("h2", { id: "settings-head" }, "Photo and card"),
    h("fieldset", { class: "choice" }, h("legend", {}, "The saddle is seen"), view(null, "let the program decide"), view("top", "from above"), view("underside", "upside down")),
    h("p", {}, h("label", { for: "bar" }, "Length of the card’s bar by your ruler "),
      h("input", { id: "bar", type: "number", step: "any", min: inField(135, 3), max: inField(165, 3), placeholder: inField(150, 3), value: edits.bar_mm === null ? "" : inField(edits.bar_mm, 3), onchange: (event) => changed({ bank_card: false, bar_mm: event.target.value === "" ? null : fromField(event.target.value) }) }), ` ${unit()}`),
    h("p", {}, h("label", {},
      h("input", { type: "checkbox", checked: edits.bank_card, onchange: (event) => changed({ bank_card: event.target.checked, bar_mm: null }) }),
      " A card of bank-card size lies in the printed frame and gives the true scale")),
    findings?.cards?.some((c) => c.print_scale_by === "bank-card") && h("p", { class: "fine" }, `The card was printed at ${(100 * findings.cards[0].print_scale).toFixed(1)} %, by the card in its frame.`),
    lensChoice(photo, changed),
    findings?.camera && h("p", { class: "fine" }, `Camera ${roughly(findings.camera.height_mm)} above the card, tilted by ${findings.camera.tilt_deg.toFixed(0)}°; ${findings.cards.map((c) => `${c.tags} marks of the card used`).join(", ")}.`));
}

/** The lens file in use, and the choice of another. */
function lensChoice(photo, changed) {
  const { edits, findings } = photo;
  const used = photo.lens ? `Lens file: ${photo.lens}.` : "No lens file: the lens follows from the card and the photo’s camera data.";
  const place = h("div", { id: "lens-place" }, h("p", { class: "fine" }, findings && used));
  const choice = ({ camera, picked, found }) => {
    const option = (value, words, more) => h("option", { value, selected: value === (edits.lens ?? ""), ...more }, words);
    const own = picked ?? (camera ? `none for ${camera}` : "the photo does not name its camera");
    if (!found.length) {
      return h("p", { class: "fine" }, "A lens file describes one camera’s lens and makes widths more certain. The shelf’s folder has none; the command seatspan lens makes one.");
    }
    return h("p", {}, h("label", { for: "lens" }, "Lens file "),
      h("select", { id: "lens", onchange: (event) => changed({ lens: event.target.value || null }) },
        option("", `the camera’s own (${own})`), option("none", "none"),
        found.map((f) => option(f.file, f.fits ? f.file : `${f.file} (does not fit)`, { disabled: !f.fits, title: f.why_not }))));
  };
  api.lenses(photo.id).then((lenses) => renew(place, [place.firstChild, choice(lenses)]), () => {});
  return place;
}

export function verdictsPanel(verdicts) {
  const note = (n) => h("li", {}, n.word && h("span", { class: "word" }, n.word), " ", h("strong", {}, n.title), h("p", {}, n.text));
  return h("section", { class: "panel", id: "verdicts", "aria-labelledby": "verdicts-head" },
    h("h2", { id: "verdicts-head" }, verdicts.for_a_rider ? `For ${verdicts.rider ?? "the rider"}` : "For a rider"),
    !verdicts.for_a_rider && h("p", {}, "No rider is chosen, so only the saddle itself is judged. ", h("a", { href: "#rider" }, "Choose or enter a rider")),
    h("ul", { class: "notes" }, verdicts.notes.slice(0, 3).map(note)),
    verdicts.notes.length > 3 && h("details", {}, h("summary", {}, "Rule by rule"), h("ul", { class: "notes" }, verdicts.notes.slice(3).map(note))),
    h("details", {}, h("summary", {}, "Cautions"), h("ul", { class: "fine" }, verdicts.cautions.map((c) => h("li", {}, c)))));
}

/** Recommendations being written, by photo. */
const advice = new Map();
const clientPage = (photo, kind) =>
  `/api/photos/${photo.id}/report.${kind}?for=client&units=${unit()}&advice=${encodeURIComponent(advice.get(photo.id) ?? "")}`;

export function keepPanel(photo, act) {
  return h("section", { class: "panel", "aria-labelledby": "keep-head" },
    h("h2", { id: "keep-head" }, "Save"),
    h("p", {}, h("label", { for: "name" }, "Name of the saddle"),
      h("input", { id: "name", type: "text", maxlength: "80", value: photo.edits.name || photo.name, onchange: (event) => act.changed({ name: event.target.value }) })),
    h("p", {}, h("label", { for: "note" }, "Remark"),
      h("input", { id: "note", type: "text", maxlength: "300", value: photo.edits.note, onchange: (event) => act.changed({ note: event.target.value }) })),
    h("p", { class: "buttons" },
      h("button", { type: "button", class: "primary", id: "keep", onclick: () => act.keep(false) }, "Save on the shelf"),
      h("a", { class: "button", id: "report", href: `/api/photos/${photo.id}/report.html`, target: "_blank", rel: "noopener" }, "Report to print"),
      h("a", { class: "button", href: `/api/photos/${photo.id}/report.pdf` }, "PDF"),
      h("button", { type: "button", class: "quiet", id: "off", onclick: act.remove }, "Remove from the desk")),
    h("details", {}, h("summary", {}, "For the client"),
      h("p", {}, h("label", { for: "advice" }, "Recommendation, in your words"),
        h("textarea", { id: "advice", rows: "4", maxlength: "1500", value: advice.get(photo.id) ?? "", oninput: (event) => {
          advice.set(photo.id, event.target.value);
          for (const kind of ["html", "pdf"]) document.getElementById(`client-${kind}`).href = clientPage(photo, kind);
        } })),
      h("p", { class: "buttons" },
        h("a", { class: "button", id: "client-html", href: clientPage(photo, "html"), target: "_blank", rel: "noopener" }, "Client’s page"),
        h("a", { class: "button", id: "client-pdf", href: clientPage(photo, "pdf") }, "PDF"))),
    h("details", {}, h("summary", {}, "For a sale"),
      h("p", { class: "fine" }, "The saddle’s geometry alone, without the rider: what was measured, how, and how certain it is. The plan at true scale lets a buyer lay the outline on a seat or a saddle."),
      h("p", { class: "buttons" }, ["a4", "letter"].map((paper) =>
        h("a", { class: "button", href: `/api/photos/${photo.id}/report.pdf?for=sale&true-scale=yes&paper=${paper}&units=${unit()}` }, `Sheet and plan, ${papers[paper]} (PDF)`)))),
    h("p", { id: "kept", role: "status" }, photo.kept ? `On the shelf as ${photo.kept}` : ""));
}
