/* The telephone's acceleration sensor, where the browser lets a page read it. */
import { mean } from "./tilt.js";

const READ_MS = 3000;
const FEWEST_PULLS = 10;

/* Why the sensor cannot be read, "" where nothing is known against it. */
export function sensorTrouble() {
  if (!window.isSecureContext) {
    return "This page came over plain http, and browsers give such a page no sensor. Open it as a "
      + "file to use the telephone as a level; a spirit level does as well.";
  }
  if (typeof DeviceMotionEvent === "undefined") {
    return "This device or browser has no sensor for a page: use a spirit level.";
  }
  return "";
}

/* Mean slopes over three seconds; fails with words for people. `begins` is called once the browser
   has allowed the sensor: it may ask a person first. */
export async function readLevel(begins) {
  if (typeof DeviceMotionEvent.requestPermission === "function") {
    const answer = await DeviceMotionEvent.requestPermission().catch(() => "denied");
    if (answer !== "granted") throw new Error("The telephone did not allow its sensor: use a spirit level.");
  }
  begins();
  const pulls = await gathered();
  if (pulls.length < FEWEST_PULLS) {
    throw new Error("No readings come from the sensor. Some browsers withhold them until motion "
      + "sensors are allowed in their site settings. A spirit level does as well.");
  }
  const reading = mean(pulls);
  if (Math.abs(reading.x) > 20 || Math.abs(reading.y) > 20) {
    throw new Error("The telephone does not lie flat on the board.");
  }
  return reading;
}

function gathered() {
  return new Promise((done) => {
    const pulls = [];
    const take = ({ accelerationIncludingGravity: pull }) => {
      if (pull && pull.z !== null && pull.z !== 0) pulls.push([pull.x, pull.y, pull.z]);
    };
    window.addEventListener("devicemotion", take);
    setTimeout(() => {
      window.removeEventListener("devicemotion", take);
      done(pulls);
    }, READ_MS);
  });
}
