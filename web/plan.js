/* The script of the plan page: its panel for use on site. */
import { startPanel } from "./shared/panel.js";

startPanel(JSON.parse(document.getElementById("table").textContent));
