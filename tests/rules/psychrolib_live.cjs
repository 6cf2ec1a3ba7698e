// `torpor air --json` against PsychroLib (ASHRAE Fundamentals 2017, chapter 1; Hyland and Wexler
// 1983), run side by side: 1 to 50 degC, where its saturation pressure is that over water.
//   node psychrolib_live.cjs TORPOR PSYCHROLIB
const { execFileSync } = require("child_process");
const [torpor, library] = process.argv.slice(2);
const psychrolib = require(library);
psychrolib.SetUnitSystem(psychrolib.SI);

const kPressure = 101325;
const kTolerance = 0.001; // of the value; of a dew point 0.02 K, which is 0.1 % of its pressure
let worst = {};
let compared = 0;
const compare = (what, ours, theirs, off) => {
  compared += 1;
  if (!worst[what] || off > worst[what].off) worst[what] = { off, ours, theirs };
};

for (let t = 1; t <= 50; t += 3.5) {
  for (const humidity of [5, 30, 60, 85, 100]) {
    const air = JSON.parse(
      execFileSync(torpor, ["air", `${t}C`, `${humidity}%`, "--json"], { encoding: "utf8" })
    );
    const saturation = psychrolib.GetSatVapPres(t);
    const vapour = psychrolib.GetVapPresFromRelHum(t, humidity / 100);
    const ratio = psychrolib.GetHumRatioFromVapPres(vapour, kPressure);
    const share = (ours, theirs) => Math.abs(ours / theirs - 1) / kTolerance;
    const ours = air.saturation_vapour_pressure_Pa;
    compare("saturation vapour pressure", ours, saturation, share(ours, saturation));
    compare("vapour pressure", air.vapour_pressure_Pa, vapour, share(air.vapour_pressure_Pa, vapour));
    compare("humidity ratio", air.humidity_ratio_kg_kg, ratio, share(air.humidity_ratio_kg_kg, ratio));
    const dew = psychrolib.GetTDewPointFromVapPres(t, vapour);
    if (dew > 0.5) compare("dew point", air.dew_point_degC, dew, Math.abs(air.dew_point_degC - dew) / 0.02);
  }
}

let failed = compared < 200;
for (const [what, { off, ours, theirs }] of Object.entries(worst)) {
  console.log(`${what}: at most ${(off * 100).toFixed(1)} % of the tolerance (${ours} against ${theirs})`);
  failed = failed || !(off <= 1);
}
console.log(`${compared} values compared`);
process.exit(failed ? 1 : 0);
