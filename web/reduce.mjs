/* Reduces many set-ups as the field page does: {table, rows: […]} on the standard input, what
   `orient.whole` of the page gives for each on the standard output. */
import { readFileSync } from "node:fs";
import { whole } from "./engine/reduce.js";

const { table, rows } = JSON.parse(readFileSync(0, "utf8"));
process.stdout.write(JSON.stringify(rows.map((each) => whole(table, each))));
