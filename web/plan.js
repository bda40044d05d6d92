/* The script of the plan page: its panel for use on site, and finding a site among many. */
import { startBrowsing } from "./plan/browse.js";
import { startPanel } from "./shared/panel.js";

startPanel(JSON.parse(document.getElementById("table").textContent));
startBrowsing();
