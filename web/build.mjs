/* Joins the modules of each page into the one script that the Python package carries.
   `node build.mjs --check` only tells whether the built scripts are those of the sources. */
import { createHash } from "node:crypto";
import { readFileSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { build } from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const PAGES = {
  "plan.js": "../orient/planpage/onsite.js",
  "field.js": "../orient/fieldpage/field.js",
};

/* Tells which sources a script was made of and their sum: a test without node reads it. */
function origin(names) {
  const sum = createHash("sha256");
  for (const name of names) sum.update(`${name}\n${readFileSync(join(here, name), "utf8")}`);
  return `/* Built by web/build.mjs; sources: ${names.join(" ")}; ${sum.digest("hex")} */\n`;
}

async function built(entry) {
  const result = await build({
    absWorkingDir: here,
    entryPoints: [entry],
    bundle: true,
    metafile: true,
    write: false,
    format: "iife",
    charset: "utf8",
    target: "es2019",
    legalComments: "none",
  });
  const text = result.outputFiles[0].text.replaceAll("</script", "<\\/script");
  return origin(Object.keys(result.metafile.inputs).sort()) + text;
}

const checking = process.argv.includes("--check");
for (const [entry, target] of Object.entries(PAGES)) {
  const text = await built(entry);
  const path = join(here, target);
  if (!checking) writeFileSync(path, text);
  else if (readFileSync(path, "utf8") !== text) {
    console.error(`${target} is not what its sources make: run npm run build in web/`);
    process.exitCode = 1;
  }
}
