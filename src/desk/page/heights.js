// Heights of the saddle's edges over the card: from other photos, or from a ruler, with a drawing of what to measure.

import { h, svg } from "./dom.js";
import { concernsSaddle } from "./panels.js";
import { fromField, inField, unit, written } from "./units.js";

const PLACES = [[0, "front end"], [0.25, "waist"], [0.5, "middle"], [0.75, "widest"], [1, "rear end"]];

function drawing() {
  const line = (d, of) => svg("path", { d, class: of });
  const text = (x, y, words) => svg("text", { x, y, "text-anchor": "middle" }, words);
  return svg("svg", {
    class: "explained", viewBox: "0 0 320 124", role: "img",
    "aria-label": "Side view: a straight-edge lies level over the saddle; the height is measured from the card up to the seat’s edge",
  },
    line("M8 118H312", "floor"),
    line("M14 118v-30h82v30", "box"), line("M18 86h74", "card"), text(55, 107, "card, on a box"),
    line("M120 118c8-20 4-48 24-62 22-6 34 26 66 24 38-2 58-30 78-38 12 14 8 56-4 76", "saddle"),
    line("M6 86H314", "level"),
    line("M150 84V58M150 58l-4 7M150 58l4 7", "arrow"), text(214, 104, "level of the card"),
    line("M286 84V46M286 46l-4 7M286 46l4 7", "arrow"),
    text(160, 14, "height of the seat’s edge over the card"), text(160, 30, "above the card is positive, below it negative"));
}

/** A field for a reading, mm or text with its unit, and how to take it back out. */
function readingField(id, reading, changed) {
  const text = reading === null ? "" : typeof reading === "string" ? reading : inField(reading);
  const input = h("input", { id, type: "text", size: "8", value: text, onchange: changed });
  const read = () => {
    const value = input.value.trim();
    // An untouched field keeps its millimetres, however the unit rounds them.
    if (value === text) return reading;
    return value === "" ? null : Number.isFinite(Number(value)) ? fromField(value) : value;
  };
  return { input, read };
}

/** Input fields for heights by station; `given` and the argument of `changed` are rows [station, reading]. */
function heightsTable(part, heading, given, changed) {
  const rows = new Map(PLACES.map(([at, label]) => [at, { label, reading: null }]));
  for (const [at, reading] of given) rows.set(at, { label: rows.get(at)?.label ?? "another place", reading });
  const fields = [];
  const collect = () => changed(fields.map(({ at, read }) => [at, read()]).filter(([, reading]) => reading !== null));
  const row = ([at, { label, reading }]) => {
    const id = `height-${part}-${at}`;
    const { input, read } = readingField(id, reading, collect);
    fields.push({ at, read });
    return h("tr", {}, h("th", { scope: "row" }, h("label", { for: id }, label)), h("td", {}, at.toFixed(2)), h("td", {}, input));
  };
  const body = [...rows].sort((a, b) => a[0] - b[0]).map(row);
  return h("table", { class: "heights" },
    h("caption", {}, part === "seat" ? "Edge of the seat" : "Edges of the channel"),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "place"), h("th", { scope: "col" }, "0 front, 1 rear"),
      h("th", { scope: "col" }, heading))),
    h("tbody", {}, body));
}

/** Heights found from several photos. */
function heightsFromPhotos({ part, rows }) {
  return h("table", { class: "from-photos", "data-part": part },
    h("caption", {}, part === "seat" ? "Edge of the seat, from the photos" : "Edges of the channel, from the photos"),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "0 front, 1 rear"), h("th", { scope: "col" }, "height over the card"))),
    h("tbody", {}, rows.map((row) => h("tr", { class: row.uncertain ? "uncertain" : null }, h("th", { scope: "row" }, row.at),
      h("td", {}, written(row.shown).first.replace("-", "−"), row.uncertain && h("strong", {}, " uncertain"))))));
}

/** A photo refused for its card or its file helps no other. */
const mayHelp = ({ refusal, with: others }) => !refusal || others.length > 0 || concernsSaddle(refusal);

/** The choice of photos measured together with this one; `add` uploads another. */
export function othersChoice(photo, photos, changed, add) {
  const linked = photo.edits.with;
  const others = photos.filter((p) => p.id !== photo.id && (linked.includes(p.id) || mayHelp(p)));
  const leaders = photos.filter((p) => p.with.includes(photo.id));
  const box = (other) => h("label", {},
    h("input", {
      type: "checkbox", id: `with-${other.id}`, value: other.id, checked: linked.includes(other.id),
      onchange: (event) => changed({ with: event.target.checked ? [...linked, other.id] : linked.filter((id) => id !== other.id) }),
    }), ` ${other.name}`);
  const input = h("input", { type: "file", id: "with-file", class: "file", accept: "image/*,.heic,.heif,.tif,.tiff", onchange: () => input.files.length && add(input.files[0]) });
  return h("fieldset", { class: "choice", id: "with" },
    h("legend", {}, "From other photos of this saddle"),
    h("p", { class: "fine" }, "Leave saddle and card where they are and photograph from above, from the rider’s left and from the rider’s right, some 25° from vertical. Together the photos give the heights without a ruler."),
    others.map(box),
    h("label", { class: "button", for: "with-file" }, "Add a photo", input),
    leaders.length > 0 && h("p", { class: "fine" }, "This photo is measured together with ",
      leaders.map((p, i) => [i > 0 && ", ", h("a", { href: `#photos/${p.id}` }, p.name)]), ", where the result is shown."));
}

export function heightsPanel(photo, changed, others) {
  const { edits, findings } = photo;
  const together = findings?.together;
  const down = readingField("to-card", edits.to_card, () => changed({ to_card: down.read() }));
  const heading = edits.to_card === null ? "height over the card" : "down to the edge";
  const ruler = [
    drawing(),
    h("p", { class: "fine" }, `An edge higher than the card looks too far out. Fill in all five places if you can: a width far from a measured height is less certain. Write 44 mm, 4.4 cm or 1 3/4 in; a number alone is in ${unit()}.`),
    h("p", {}, h("label", { for: "to-card" }, "If you read down from a level straight-edge over the saddle: down to the card "), down.input),
    heightsTable("seat", heading, edits.seat_lift, (rows) => changed({ seat_lift: rows })),
    findings?.view === "underside" && heightsTable("channel", heading, edits.channel_lift, (rows) => changed({ channel_lift: rows })),
  ];
  return h("section", { class: "panel", id: "heights", "aria-labelledby": "heights-head" },
    h("h2", { id: "heights-head" }, "Heights over the card"),
    findings && !findings.lift_known && h("p", { class: "notice" },
      "Not known yet, so every width allows for some centimetres. With photos from left and right, or heights from a ruler, the widths become several times more certain."),
    together && [
      h("p", {}, `Measured from ${together.photos.length} photos together: ${together.photos.join(", ")}.`),
      together.lifts.map(heightsFromPhotos),
    ],
    h("div", { id: "with-place" }, others),
    h("details", { open: edits.with.length === 0 || edits.seat_lift.length > 0 },
      h("summary", {}, edits.with.length > 0 ? "Measured with a ruler as well" : "Measured with a ruler"), ruler));
}
