/** The page of settings, docs/settings.md: its names come from the code. Pure. */

/** A file of the user's own, as the page shows it; a test reads it. */
export const exampleSettings = `# The bell foundry film: two cameras, one raw, one log.
version: 1
show:
  owner: Bell foundry film
  comments: Unit 1
cameras:
  A:
    raw: { white_balance: as-shot, exposure_stops: 0 }
  B:
    input: { name: slog3-sgamut3cine }
rolls:
  # This roll was shot with another log curve by mistake.
  B003:
    input: { name: logc3-awg3, ei: 800 }
`;

/** `names`: of input transforms, curves, gamuts, and exposure indices, as media/colour has them. */
export function settingsPage({ inputs, curves, gamuts, indices }) {
  const list = (values) => values.map((value) => `\`${value}\``).join(', ');
  return [
    '# Settings of a show',
    '',
    'Masters rest on what nobody can measure: what the code values of a log picture mean, and how a raw frame is to be balanced.',
    '`run` and `plan` take it from one YAML file, `--settings <file>`. This page is made by `npm run docs`.',
    '',
    '```yaml',
    exampleSettings.trimEnd(),
    '```',
    '',
    'A roll says more than its camera, a camera more than the show. A camera is the letters that the names of its rolls begin with.',
    'Movie profiles take no notice of settings. What was decided by them stands in the facts of each clip and in the outcome of each',
    'master; masters that were made with other settings are made again.',
    '',
    '## input',
    '',
    'What the code values of movies and of DPX, TIFF and EXR frames mean. Without it, tags decide where they leave no doubt (BT.709,',
    'BT.2020, sRGB, PQ, HLG); a clip of which neither says anything is held, and nothing is ever guessed. Where both speak, the settings',
    'are followed and the difference is reported, since cameras often tag log pictures as BT.709.',
    '',
    '| form | what it says |',
    '|---|---|',
    `| \`{ name: … }\` | a published transform: ${list(inputs)} |`,
    `| with \`ei\` | of \`logc3-awg3\`, the exposure index of the camera: ${list(indices)} |`,
    '| with `nits_of_one` | of the `pq` ones, the cd/m² that become 1.0 (100 when it is not said) |',
    '| with `signal_of_one` | of `hlg-bt2020`, the signal that becomes 1.0 (0.75 when it is not said, the reference white of ITU-R BT.2408) |',
    `| \`{ curve: …, gamut: … }\` | a published curve (${list(curves)}) with a published gamut (${list(gamuts)}) in another pairing |`,
    "| `{ log: …, primaries: …, white: …, adaptation: … }` | parameters of the Common LUT Format's `cameraLogToLin` by its own names (`base`, `logSideSlope`, `logSideOffset`, `linSideSlope`, `linSideOffset`, `linSideBreak`, `linearSlope`), chromaticities as `red`, `green`, `blue: [x, y]`, `white: [x, y]`, and `bradford` or `cat02` |",
    '| `{ file: …, gives: … }` | a .cube or .clf file, as seen from the settings, and the name of the space that it ends in. It is kept beside the reports, by its SHA-256 |',
    '| with `interpolation` | of a .cube file, what lies between the places of its 3D table: `tetrahedral` (when it is not said, as grading rooms expect) or `trilinear`. A .clf file says it itself |',
    '',
    '### A camera with a curve of another kind',
    '',
    'Only transforms with a paper and a value to check them against have a name here. For another camera, in this order:',
    '',
    '1. Its maker or your facility has the transform as a .clf or .cube file that ends in one of the spaces above: `{ file: …, gives: … }`.',
    '2. Its paper gives a logarithm with a straight part below: `{ log: … }` with the numbers of the paper.',
    '3. Its paper gives a curve of another form (a root, a parabola, a shoulder): make a .clf file of it, with one table (`LUT1D`) from code values to linear light and one matrix to AP0, and name `gives: aces2065-1`.',
    '4. Shoot a grey card and a chart, and compare: 18 % grey comes out at 0.18 when exposed as the meter says.',
    '',
    'Left out: LogC3 above an exposure index of 1600, whose shoulder is published as tables alone; older gamuts of raw developers, of which no paper could be read.',
    '',
    '## raw',
    '',
    '| field | values | meaning |',
    '|---|---|---|',
    '| `white_balance` | `as-shot`, `{ neutral: [r, g, b] }`, `{ x: …, y: … }`, `{ kelvin: …, tint: … }` | what becomes grey: as the camera recorded it, camera values of a grey card, the chromaticity of the light, or its temperature |',
    '| `exposure_stops` | -10 to 10 | added to what the file itself asks (BaselineExposure); 0 when it is not said. A neutral at the clip level of the sensor is 1.0 before it |',
    '| `anchor` | `sensor`, `metered` | `sensor` (when it is not said): a neutral at the clip level of the sensor is 1.0, so that raw comes out about half a stop below log cameras of the same scene. `metered`: a grey card exposed as the meter says is 0.18, by the saturation-based speed of ISO 12232 |',
    '| `decoder` | `own`, `libraw`, or the name of a declared decoder | who reads the sensor values; without it our own, and LibRaw for what ours does not take |',
    '',
    '## owner, comments',
    '',
    'Stand in the header of every frame, unless the profile says something else there.',
    '',
  ].join('\n');
}
