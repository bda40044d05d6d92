import { startPanel } from "./shared/panel.js";
