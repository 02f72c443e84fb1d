/** The page of settings, docs/settings.md: its names come from the code. Pure. */

/** A file of the user's own, as the page shows it; a test reads it. */
export const exampleSettings = `# The bell foundry film: one raw camera, one log camera, and a small one in a drone.
version: 1
show:
  owner: Bell foundry film
  comments: Unit 1
  time_zone: Europe/Berlin
  profiles: [editorial-vc3, review-h264]
  # How pictures are viewed: the CDL of the show in ACEScct, then the output transform of ACES 2.
  cdl: { slope: [1.05, 1, 0.97], saturation: 0.9 }
  output: aces-2
cameras:
  - name: A
    known_by: { rolls: ['A###'] }
    # Raw frames: masters alone, one of them a movie for the editor. Other movies are not made of them.
    profiles: [grading-master-exr, grading-master-4444]
    raw: { white_balance: as-shot, exposure_stops: 0 }
  - name: B
    known_by: { rolls: ['B###'] }
    profiles: [editorial-vc3, review-h264, grading-master-exr]
    input: { name: slog3-sgamut3cine }
  - name: drone
    known_by: { make: Swallow, model: W2 }
rolls:
  # This roll was shot with another log curve by mistake, and its third clip with the right one.
  B003:
    input: { name: logc3-awg3, ei: 800 }
    clips:
      B003C003: { input: { name: slog3-sgamut3cine } }
  # Shot a stop under, to keep the flames: brought back where it is viewed.
  B004: { exposure: 1 }
`;

/** `names`: of input transforms, curves, gamuts, exposure indices, and spaces of looks, as media/colour has them. */
export function settingsPage({ inputs, curves, gamuts, indices, logs, linears, displays }) {
  const list = (values) => values.map((value) => `\`${value}\``).join(', ');
  return [
    '# Settings of a show',
    '',
    'What is to be made of which camera, and what nobody can measure: what the code values of a log picture mean, and how a raw frame',
    'is to be balanced. `run` and `plan` take it from one YAML file, `--settings <file>`, so that a day of raw, log and plain cameras is',
    'one command. This page is made by `npm run docs`.',
    '',
    '`rushlight settings new <day> --to <file>` begins such a file: its cameras with what their clips say of themselves, and as remarks what',
    'nobody can measure and you decide. It reads headers alone, and never writes over a file. `rushlight settings lint <file>` says everything that is wrong with',
    "one, with lines; with `--day <day>` also what it names and the day lacks, and which CDL is which clip's. Editors that know JSON Schema",
    'complete its fields by [schemas/settings.schema.json](schemas/settings.schema.json).',
    '',
    '```yaml',
    exampleSettings.trimEnd(),
    '```',
    '',
    '## Levels',
    '',
    'Four levels say the same fields: `show`, an entry of `cameras`, a roll, and a clip below its roll. Of each field the nearest level',
    'that states it counts, the clip before the roll, the roll before the camera, the camera before the show; what is below `raw` counts',
    'field by field. A list is taken whole: a camera with `profiles` is made in these and in no others. `--profile` on the command',
    'line counts before all levels, for every clip.',
    '',
    '`plan` shows for each clip which camera it is of, what its files say of the camera, what every setting is and who stated it. `roll.json` keeps the same',
    '(`clips[].settings`), with the profiles that are due: a clip is ready when these are made, all of them and by these settings.',
    '',
    '**Settings that change between nights.** What was made by other settings is outdated. A roll that is ready is left as it is, and what differs is reported,',
    'until a run is asked to replace it (`--replace`); of a roll that is held the next run makes it again under the same name. A profile that is due no more is not asked for; what was made in it stays where it is, is read whole by run and',
    'audit, and is reported with a note (`deliverable-earlier`), or holds the roll where its bytes have changed.',
    '',
    '## cameras',
    '',
    'A list. `name` is what reports call the camera; `known_by` says by what its clips are recognised. All that is stated must be so:',
    '',
    '| field | recognised by |',
    '|---|---|',
    '| `rolls` | the name of the roll, one of these patterns: `*` stands for any characters, `?` for one, `#` for one digit |',
    '| `make`, `model`, `serial` | what the files of the clip say of the camera: tags of a movie, the header of a DNG, EXR, DPX or TIFF frame. A file may call the model by several names: each is one |',
    '',
    'Capitals and small letters are the same. A clip that two cameras fit is held; one that none fits goes by its clip, its roll and the',
    'show. A camera that is known by what its files say cannot state `raw.decoder`, which is chosen before they are read.',
    '',
    '## profiles',
    '',
    'What is made: names of built-in profiles, or .yaml files as seen from the settings. Where no level states any, `editorial-vc3` and',
    '`review-h264` are made. A profile that cannot be made of a clip holds it. Of raw frames there are masters, and movies of profiles that have `display`.',
    '',
    '## masters',
    '',
    'Of the show alone: when masters are made. `with`, when it is not said: with the proxies of their clip, all of one decode. `after`: when the proxies of all rolls',
    'are made. A clip of which both are due is then decoded twice. `plan` says of how many clips that is, and how much longer one worker is busy for it, and by either word,',
    'so that it can be weighed first; and, once speeds are learned, when all proxies will be made. Stills come with the proxies. A roll is ready when its masters are made, too.',
    '',
    '## stills',
    '',
    'Pictures of a few frames of each clip, beside the reports: `{ count: 4, width: 960, bits: 8 }`, each field on its own; `width` is pixels at most, `bits` 8 or 16.',
    '`count: 0`: none. `--stills` counts before every level ([how](mechanisms/stills.md)).',
    '',
    '## time_zone',
    '',
    'Of the show alone: where it is shot, by its name in the IANA Time Zone Database. In it `status` shows when a roll was decided,',
    'with the day of the week; `roll.json` keeps its name (`timeZone`). Without it that is in UTC. Records are in UTC in any case.',
    '',
    'Cameras often write local time and not which. Where the date of a source has no offset to UTC, masters say that of this zone at that time: `utcOffset`, which',
    "`statedByHand` then names, so that nobody takes it for the camera's word; and the offset in the dates of ACES Metadata File and movie. A date that says its own",
    'offset keeps it. A time that the clocks of the zone show twice, as summer time ends, or never, as it begins, gets none.',
    "It rests on the camera's clock having been set to the time of the place.",
    '',
    '## Time',
    '',
    '| field | values | meaning |',
    '|---|---|---|',
    '| `project_rate` | `24000/1001`, `25`, `23.976` | frames a second of the project, exact |',
    '| `off_speed` | `own-rate`, `project-rate` | a clip that was recorded faster: it keeps its rate (when nobody says), or every frame is played at that of the project, 59.94 in 23.976 5/2 times as long |',
    '| `off_speed_audio` | `leave-out`, `real-time` | its audio: none (when nobody says), or as it was heard, shorter than the picture |',
    '| `timecode` | `10:00:00:00`, `10:00:00;00` | start of a clip that has none of its own |',
    '| `timecode_missing` | `hold`, `zero`, `time-of-day`, `time-of-day-or-zero` | a clip that has none, and for which none is stated: what the profile says when nobody does |',
    '| `variable_rate` | `hold`, `constant` | a clip without a constant rate |',
    '',
    'Every level says them. `plan` lists what runs otherwise than its clip and whose timecode is not of the file; how and why: [time](mechanisms/cadence.md).',
    '',
    '## input',
    '',
    'What the code values of movies and of DPX, TIFF and EXR frames mean. Without it, tags decide where they leave no doubt (BT.709,',
    'BT.2020, sRGB, PQ, HLG, and the log curves of ITU-T H.273); a clip of which neither says anything is held where its light is needed, or where tags',
    'contradict each other, and nothing is ever guessed. Where both speak, the settings are followed and the difference is reported, since cameras often tag log pictures as BT.709.',
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
    '| `corrections` | `apply`, `leave` | of lens and sensor, as DNG frames ask for them in opcodes ([raw](raw.md)): made when it is not said, or left for whoever finishes the picture |',
    '| `decoder` | `own`, `libraw`, or the name of a declared decoder | who reads the sensor values; without it our own, and LibRaw for what ours does not take |',
    '',
    '## Looks',
    '',
    'How pictures are to look where people view them. Masters bake none of it: their [ACES Metadata File](amf.md) says it, so that finishing begins where',
    'the set left off. It is done to scene-linear values in this order:',
    '',
    '| field | values | meaning |',
    '|---|---|---|',
    '| `exposure` | -10 to 10, stops | a gain of 2^stops before all looks. It changes what is viewed; `raw.exposure_stops` changes what raw frames are developed to |',
    '| `gamut_compression` | `true`, `false` | the reference gamut compression of ACES |',
    '| `cdl` | `{ slope, offset, power, saturation }`, `{ file: …, id: … }`, `none` | an ASC CDL: its numbers, or a correction of a .cdl, .cc or .ccc file, as seen from the settings. `id` is needed where the file has several. What is not stated changes nothing. Slopes and saturation are 0 or more, powers above 0 |',
    `| with \`space\` | ${list(logs)} | the log space in which it is applied: that of the room where it was made. \`acescct\` when it is not said; \`logc3-awg3\` is that of an exposure index of 800. In another space the same numbers are another picture |`,
    '| `look` | `{ file: …, from: …, to: … }`, `none` | a .cube or .clf file, as seen from the settings, behind the CDL |',
    `| with \`from\` | a log space as above; of a .clf file also ${list(linears)} | the space that it takes. A .cube file takes log codes: its table has no places for the highlights of linear values, and one whose domain is of linear values is refused |`,
    `| with \`to\` | a space as \`from\`, or of a display: ${list(displays)} | the space that it ends in. One of a display: the look takes the place of the output transform |`,
    '| with `interpolation` | `tetrahedral`, `trilinear` | of a .cube file, as of [`input`](#input) |',
    '| `output` | `aces-2`, `aces-1`, `as-recorded` | the output transform, of ACES 2 when it is not said. `as-recorded`: pictures are shown as they were recorded. A clip for which this and a look are stated is held |',
    '',
    'Of each the nearest level counts, and `none` takes away what a farther one states. What a file holds is read when the settings are: a file that is damaged or of',
    'another kind, an id that it does not have, a value outside of the ranges ends `run` and `plan` before anything is made. Nothing is made with half a look.',
    'A look is kept beside the reports, by its SHA-256. A master is outdated when any of it changes, since the file beside it says it: state looks before the run that is to last.',
    '',
    '### CDLs of many clips',
    '',
    '`show.cdls: { path: … }` names a folder, or a .cdl, .cc, .ccc or .edl file (`ASC_SOP` and `ASC_SAT` below its events), whose CDLs are matched to clips; `space` as',
    "of `cdl`. The first of these rules counts by which any of them is the clip's:",
    '',
    '1. **clip name**: its id, what its `MediaRef` leads to, the `FROM CLIP NAME` of an edit (of a transition, `TO CLIP NAME`), or, where a file has one correction, the name of the file is the name of the clip, or `<roll>/<clip>`. An edit whose source timecode lies outside of the clip is of another clip of that name.',
    '2. **reel and timecode**: an edit has the reel of the clip, and some of its source lies in the clip. Reels of eight letters and digits may be longer ones that were cut off.',
    '3. **reel**: its name is the reel of the clip.',
    '',
    'Capitals and small letters are the same, and endings of files are no part of a name. CDLs of the same numbers are one; a clip of which several with other numbers are is held',
    "(`cdl-ambiguous`), and so is one whose name clips of other rolls of the day have too, where nothing but the name says so. A CDL that is matched counts before those of roll, camera and show, and behind the clip's own `cdl`. Where cameras give the same names on",
    'every card, put the roll before the clip.',
    '',
    "`plan` lists which CDL is which clip's by which rule, those that are of no clip, those that hold one, and clips without any. In a run what matches nothing is a note.",
    '',
    '## owner, comments',
    '',
    'Stand in the header of every frame, unless the profile says something else there.',
    '',
  ].join('\n');
}
