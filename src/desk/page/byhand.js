// What a photo does not show of a saddle, measured by hand, and what a buyer asks.

import * as api from "./api.js";
import { h, notify, notifyProblem, textField } from "./dom.js";

const LENGTHS = [
  ["by_hand.fall_away", "Where the seat falls away", "from the outer edge inward, beside the seat bones, such as 25 mm"],
  ["by_hand.piping", "Breadth of the piping", "on one side, such as 6 mm"],
  ["by_hand.front_height", "Height of the front’s crown", "over the lowest point of the seat, such as 60 mm"],
  ["by_hand.front_breadth", "Breadth of the front", "20 mm below its crown, such as 70 mm"],
  ["by_hand.bars", "Breadth over the tree’s bars", "under the thighs, such as 230 mm"],
  ["by_hand.lowest", "Lowest point of the seat", "from the rear end forward, such as 190 mm"],
  ["by_hand.stirrup_bar", "Stirrup bars", "from the rear end forward, such as 330 mm"],
];
const SALE = [
  ["sale.size", "Size as sold"], ["sale.serial", "Serial number"], ["sale.tree", "Tree", "such as: no sound or movement when flexed"],
  ["sale.condition", "Condition"], ["sale.flocking", "Flocking"], ["sale.photos", "Photos, uncropped"],
];

/** The panel of a photo's saddle; `saved` follows each change. */
export function byHandPanel(id, saved) {
  const place = h("div", {});
  const fill = (known) => {
    const field = ([name, label, help]) => {
      const [table, key] = name.split(".");
      return textField(name, label, known[table]?.[key], help);
    };
    const save = async () => {
      const filled = { date: known.date, by_hand: {}, sale: {} };
      for (const [name, value] of new FormData(form)) {
        const [table, key] = name.split(".");
        filled[table][key] = value;
      }
      try {
        known = await api.keepByHand(id, filled);
        notify(`Saved for ${known.name}.`);
        saved();
      } catch (problem) {
        notifyProblem(problem);
      }
    };
    const form = h("form", { class: "form", onchange: save, onsubmit: (event) => event.preventDefault() },
      h("fieldset", {}, h("legend", {}, "What the photo does not show"), LENGTHS.map(field)),
      h("fieldset", {}, h("legend", {}, "For a buyer"), SALE.map(field)));
    place.replaceChildren(form);
  };
  const open = (event) => {
    if (event.target.open && !place.hasChildNodes()) api.byHand(id).then(fill, notifyProblem);
  };
  return h("section", { class: "panel", id: "by-hand" }, h("details", { ontoggle: open }, h("summary", {}, "Measured by hand on this saddle"), place));
}
