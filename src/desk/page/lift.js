// The lift: how high the saddle's edges lie over the card. A small table, with a drawing that says what to measure.

import { h, svg } from "./dom.js";
import { ofTheSaddle } from "./findings.js";
import { fromField, inField, unit, written } from "./units.js";

const PLACES = [[0, "front end"], [0.25, "waist"], [0.5, "middle"], [0.75, "widest"], [1, "rear end"]];

function explained() {
  const line = (d, of) => svg("path", { d, class: of });
  const text = (x, y, words, anchor) => svg("text", { x, y, "text-anchor": anchor ?? "middle" }, words);
  return svg("svg", {
    class: "explained", viewBox: "0 0 320 124", role: "img",
    "aria-label": "Seen from the side: a straight-edge lies level over the saddle; the lift is the height of the seat’s edge above the card",
  },
    line("M8 118H312", "floor"),
    line("M14 118v-30h82v30", "box"), line("M18 86h74", "card"), text(55, 107, "card, on a box"),
    line("M120 118c8-20 4-48 24-62 22-6 34 26 66 24 38-2 58-30 78-38 12 14 8 56-4 76", "saddle"),
    line("M6 86H314", "level"),
    line("M150 84V58M150 58l-4 7M150 58l4 7", "arrow"), text(214, 104, "height of the card"),
    line("M286 84V46M286 46l-4 7M286 46l4 7", "arrow"),
    text(160, 14, "lift = height of the seat’s edge over the card"), text(160, 30, "above is positive, below is negative"));
}

/** `given` are rows [station, mm]; `changed` takes the new rows. */
export function liftTable(part, given, changed) {
  const rows = new Map(PLACES.map(([at, label]) => [at, { label, mm: "" }]));
  for (const [at, mm] of given) rows.set(at, { label: rows.get(at)?.label ?? "as well", mm });
  const inputs = [];
  const collect = () => {
    const filled = inputs.filter(({ input }) => input.value.trim() !== "");
    // What was not touched keeps its millimetres, whatever the unit rounds them to.
    changed(filled.map(({ at, input, mm, text }) => [at, input.value === text ? mm : fromField(input.value)]));
  };
  const row = ([at, { label, mm }]) => {
    const id = `lift-${part}-${at}`;
    const text = mm === "" ? "" : inField(mm);
    const input = h("input", {
      id, type: "number", step: "any", min: "-400", max: "400", inputmode: "decimal", value: text, onchange: collect,
    });
    inputs.push({ at, input, mm, text });
    return h("tr", {}, h("th", { scope: "row" }, h("label", { for: id }, label)), h("td", {}, at.toFixed(2)),
      h("td", {}, input, ` ${unit()}`));
  };
  const body = [...rows].sort((a, b) => a[0] - b[0]).map(row);
  return h("table", { class: "lift" },
    h("caption", {}, part === "seat" ? "Edge of the seat" : "Edges of the channel"),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "where"), h("th", { scope: "col" }, "along it"),
      h("th", { scope: "col" }, "height over the card"))),
    h("tbody", {}, body));
}

/** Lifts that several photos have told. */
function toldTable({ part, rows }) {
  return h("table", { class: "told", "data-part": part },
    h("caption", {}, part === "seat" ? "Edge of the seat, from the photos" : "Edges of the channel, from the photos"),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "along it"), h("th", { scope: "col" }, "height over the card"))),
    h("tbody", {}, rows.map((row) => h("tr", { class: row.poorly ? "poorly" : null }, h("th", { scope: "row" }, row.at),
      h("td", {}, written(row.shown).first.replace("-", "−"), row.poorly && h("strong", {}, " poorly told"))))));
}

/** A photo without a card, or that is none, tells nothing beside another either. */
const mayServe = ({ refusal, with: others }) => !refusal || others.length > 0 || ofTheSaddle(refusal);

/** Which other photos on the desk are measured together with this one. `add` takes files for one more. */
export function othersChoice(photo, photos, changed, add) {
  const linked = photo.edits.with;
  const others = photos.filter((p) => p.id !== photo.id && (linked.includes(p.id) || mayServe(p)));
  const leads = photos.filter((p) => p.with.includes(photo.id));
  const box = (other) => h("label", {},
    h("input", {
      type: "checkbox", id: `with-${other.id}`, value: other.id, checked: linked.includes(other.id),
      onchange: (event) => changed({ with: event.target.checked ? [...linked, other.id] : linked.filter((id) => id !== other.id) }),
    }), ` ${other.name}`);
  const input = h("input", { type: "file", id: "with-file", class: "file", accept: "image/*,.heic,.heif,.tif,.tiff", onchange: () => input.files.length && add(input.files[0]) });
  return h("fieldset", { class: "choice", id: "with" },
    h("legend", {}, "From other photos of it, instead of a ruler"),
    h("p", { class: "fine" }, "Leave saddle and card where they are. Take one photo from the saddle’s left and one from its right, some thirty degrees from straight above: together they tell the heights."),
    others.map(box),
    h("label", { class: "button", for: "with-file" }, "Add a photo of it", input),
    leads.length > 0 && h("p", { class: "fine" }, "This photo is measured together with ",
      leads.map((p, i) => [i > 0 && ", ", h("a", { href: `#table/${p.id}` }, p.name)]), "; the result of all stands there."));
}

export function liftPanel(photo, changed, others) {
  const { edits, findings } = photo;
  const together = findings?.together;
  const ruler = [
    explained(),
    h("p", { class: "fine" }, "An edge nearer the camera than the card looks further out than it is. Lay a straight-edge level over the saddle, and measure down. Fill in all five where you can: far from the next height a width is less sure."),
    liftTable("seat", edits.seat_lift, (rows) => changed({ seat_lift: rows })),
    findings?.view === "underside" && liftTable("channel", edits.channel_lift, (rows) => changed({ channel_lift: rows })),
  ];
  return h("section", { class: "panel", id: "lift", "aria-labelledby": "lift-head" },
    h("h2", { id: "lift-head" }, "Heights of the edges (lift)"),
    findings && !findings.lift_known && h("p", { class: "notice" },
      "Not known yet, so every width allows for some centimetres. Measure the heights with a ruler or let a second photo tell them, and the widths become several times as sure."),
    together && [
      h("p", {}, `Told by ${together.photos.length} photos together: ${together.photos.join(", ")}.`),
      together.lifts.map(toldTable),
    ],
    edits.with.length > 0
      ? h("details", { open: edits.seat_lift.length > 0 }, h("summary", {}, "Heights measured with a ruler as well"),
        h("p", { class: "fine" }, "What is filled in here is believed like a ruler, and the photos add to it."), ruler)
      : ruler,
    h("div", { id: "with-place" }, others));
}
