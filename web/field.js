/* The script of the field page. */
import { startPanel } from "./shared/panel.js";
import { reduced } from "./engine/reduce.js";

const table = JSON.parse(document.getElementById("table").textContent);

window.orient = { reduce: (rows) => reduced(table, rows).row };
startPanel(table);
