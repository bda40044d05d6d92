/* The part that brings the log home: one file, saved, shared or copied. */
import { element, say } from "./dom.js";
import { fileName, fileOf } from "./tables.js";

export function startSend(field) {
  const { table, store } = field;
  element("download").addEventListener("click", download);
  element("share").addEventListener("click", share);
  element("copy-button").addEventListener("click", copy);
  element("share").hidden = !canShare();

  const text = () => JSON.stringify(fileOf(table, field.log, store.list(), Date.now()), null, 1);
  const file = () => new File([text()], fileName(table, Date.now()), { type: "application/json" });

  function canShare() {
    return Boolean(navigator.canShare) && typeof File === "function"
      && navigator.canShare({ files: [new File(["{}"], "log.json", { type: "application/json" })] });
  }

  function download() {
    const made = file();
    const address = URL.createObjectURL(made);
    const link = document.createElement("a");
    link.href = address;
    link.download = made.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    say("send-trouble", `Saved as ${made.name}, where this browser keeps what it downloads.`);
  }

  function share() {
    navigator.share({ files: [file()] }).then(
      () => say("send-trouble", "Shared."),
      () => say("send-trouble", "Not shared: save it as a file instead."));
  }

  function copy() {
    const area = element("copy");
    area.value = text();
    area.select();
    const done = () => say("send-trouble", "Copied.");
    const failed = () => say("send-trouble", "Not copied by itself: the text is selected, copy it by hand.");
    if (navigator.clipboard) navigator.clipboard.writeText(area.value).then(done, failed);
    else failed();
  }

  return {
    refresh() {
      const marks = field.log.setups.reduce((total, { marks: own }) => total + own.length, 0);
      const { unmeasured } = fileOf(table, field.log, [], Date.now());
      const missing = unmeasured.length ? ` ${unmeasured.length} of the marks have no millimetres yet: they `
        + "stay in the log, and come into the tables once they are measured." : "";
      say("send-says", `${count(field.log.setups.length, "set-up")}, ${count(marks, "mark")}.${missing}`);
      element("copy").value = text();
    },
  };
}

const count = (number, what) => `${number} ${what}${number === 1 ? "" : "s"}`;
