/**
 * The parts of the long lane (`npm run test:all`) and their steps, each the command of one program. Pure: what is on this
 * machine is handed in. A part takes under an hour on two cores; what takes longer is cut into steps, since a step that passed
 * is not run again until a source changes.
 */

/** @typedef {{ title: string, missing?: string, args?: string[], env?: Record<string, string>, node?: number }} Step */

/** Damaged files of each format. */
export const FUZZ_CASES = 10_000;
/** Newer Nodes than the oldest that is supported, which runs the quick lane. */
export const NODE_MAJORS = [22, 24];
/** The suite is run on another Node in so many shares. */
const SHARES = 4;
/** Cases of a campaign in one step, with a fault and without, each step with a seed of its own: 2000 and 400 in four parts. */
const CAMPAIGN = { cases: 125, clean: 25 };
const campaigns = {
  campaign: [1, 2, 3, 4],
  'campaign-2': [5, 6, 7, 8],
  'campaign-3': [9, 10, 11, 12],
  'campaign-4': [13, 14, 15, 16],
};
/** Orders in which a farm is disturbed. */
const CHAOS_SEEDS = [1, 2, 3, 4];
const seedSteps = (part) =>
  campaigns[part].map((seed) => ({
    title: `campaign of seed ${seed}`,
    args: [
      'setup/campaign.mjs',
      ...['--seed', String(seed), '--cases', String(CAMPAIGN.cases), '--clean', String(CAMPAIGN.clean)],
    ],
  }));

/** Test files of which the quick lane leaves rows out (test/support/lane.ts). */
export const TABLES = [
  'test/campaign/awkward.test.ts',
  'test/campaign/campaign.test.ts',
  'test/check/container/profiles.test.ts',
  'test/colour/placed-sdr.test.ts',
  'test/colour/shown-table.test.ts',
  'test/demo/demo.test.ts',
  'test/e2e/bad-targets.test.ts',
  'test/e2e/bad-tools.test.ts',
  'test/e2e/decoders.test.ts',
  'test/e2e/masters.test.ts',
  'test/e2e/names.test.ts',
  'test/e2e/plan-and-run.test.ts',
  'test/e2e/provenance.test.ts',
  'test/e2e/raw-forms.test.ts',
  'test/e2e/remedies.test.ts',
  'test/e2e/sound-beside.test.ts',
  'test/encoder-input/arithmetic.test.ts',
  'test/faults/awkward-shapes.test.ts',
  'test/faults/bars.test.ts',
  'test/faults/burn-in.test.ts',
  'test/faults/colour-way.test.ts',
  'test/faults/encoder-input.test.ts',
  'test/faults/faults.test.ts',
  'test/faults/missed.test.ts',
  'test/faults/picture-error.test.ts',
  'test/faults/placing.test.ts',
  'test/faults/raw-maker.test.ts',
  'test/faults/split-fields.test.ts',
  'test/faults/store.test.ts',
  'test/faults/whole-frames.test.ts',
  'test/forecast/forecast.test.ts',
  'test/forecast/simulate.test.ts',
  'test/handover/pictures.test.ts',
  'test/house/guides.test.ts',
  'test/intake/copies.test.ts',
  'test/lease/lease.test.ts',
  'test/media/probe.test.ts',
  'test/night/disturbed.test.ts',
  'test/profiles/made.test.ts',
  'test/profiles/recipe/audio.test.ts',
  'test/profiles/recipe/colour.test.ts',
  'test/profiles/recipe/command.test.ts',
  'test/profiles/recipe/geometry.test.ts',
  'test/profiles/recipe/inputs.test.ts',
  'test/profiles/recipe/text.test.ts',
  'test/profiles/recipe/times.test.ts',
  'test/proof/audio-clean.test.ts',
  'test/proof/audio-faults.test.ts',
  'test/proof/read-averages.test.ts',
  'test/proof/tap.test.ts',
  'test/raw/corrections.test.ts',
  'test/survey/exr-forms.test.ts',
  'test/text/coverage.test.ts',
  'test/text/fields.test.ts',
  'test/worker/archive/clips.test.ts',
  'test/worker/archive/spoiled.test.ts',
  'test/worker/audio-place.test.ts',
  'test/worker/between-ranges.test.ts',
  'test/worker/colour-way.test.ts',
  'test/worker/exr-windows.test.ts',
  'test/worker/frames-as-decoded.test.ts',
  'test/worker/job.test.ts',
  'test/worker/master-4444.test.ts',
  'test/worker/master-sources.test.ts',
  'test/worker/masters-of-fields.test.ts',
  'test/worker/masters.test.ts',
  'test/worker/production-forms.test.ts',
  'test/worker/raw-off-speed.test.ts',
  'test/worker/review-hdr.test.ts',
  'test/worker/segments-table.test.ts',
  'test/worker/sidecars.test.ts',
  'test/worker/stretch.test.ts',
];

const vitest = ['node_modules/vitest/vitest.mjs', 'run'];
const long = (title, ...files) => ({
  title,
  args: [...vitest, ...files],
  env: { RUSHLIGHT_TEST_LANE: 'long' },
});

/** `about`, and the time on two cores that are otherwise idle. */
export const parts = {
  fuzz: { about: `${FUZZ_CASES} damaged files for each format that is read`, minutes: 40 },
  campaign: {
    about: 'every fault drawn once, then faults at random, and clean cases, against the gate',
    minutes: 45,
  },
  'campaign-2': { about: 'further faults at random, and clean cases', minutes: 40 },
  'campaign-3': { about: 'further faults at random, and clean cases', minutes: 40 },
  'campaign-4': { about: 'further faults at random, and clean cases', minutes: 40 },
  injector: { about: 'that the fault injector does what it says and nothing else', minutes: 5 },
  tables: {
    about: 'every row of the tables of which `npm test` runs one for each promise',
    minutes: 40,
  },
  stores: {
    about:
      'every disturbance of a run on a store of its own; a night with production sound; standing coordinators that are killed',
    minutes: 10,
  },
  farm: {
    about: 'machines that lack something, hang, freeze or are cut off; production sound and a pull on a farm',
    minutes: 12,
  },
  chaos: {
    about: 'a night of a hundred clips on a farm that is disturbed in every way, in orders that seeds give',
    minutes: 45,
  },
  pages: {
    about: 'every state of every page in a browser, on screen and on paper; a night of a live page',
    minutes: 12,
  },
  node: { about: `the quick lane on Node ${NODE_MAJORS.join(' and ')}`, minutes: 30 },
  image: { about: 'the container image: built, a run in it, and a farm of its containers', minutes: 20 },
};
export const partNames = Object.keys(parts);

/**
 * Steps of a part: `title` names it in the record of what passed, `args` for Node, `env` besides, `node` the major of the Node
 * that runs it (absent: this one). `hasFuzz`, `hasImage`: that program is there. `fuzzState`: file in which setup/fuzz.mjs keeps how far it got.
 * A part whose program is absent has one step that says so and cannot pass.
 * @param {string} part
 * @param {{ hasFuzz: boolean, fuzzState: string, hasImage: boolean }} here
 * @returns {Step[]}
 */
export function stepsOf(part, { hasFuzz, fuzzState, hasImage }) {
  const absent = (file) => [{ title: `${file} is not there`, missing: file }];
  switch (part) {
    case 'fuzz':
      return hasFuzz
        ? [
            {
              title: 'every format',
              args: ['setup/fuzz.mjs', '--cases', String(FUZZ_CASES), '--seed', '1', '--state', fuzzState],
            },
          ]
        : absent('setup/fuzz.mjs');
    case 'campaign':
      return [long('every fault once', 'test/campaign'), ...seedSteps(part)];
    case 'campaign-2':
    case 'campaign-3':
    case 'campaign-4':
      return seedSteps(part);
    case 'injector':
      return [long('the injector itself', 'test/faults')];
    case 'tables':
      return [
        {
          title: 'every row',
          args: [...vitest, ...TABLES],
          env: { RUSHLIGHT_TEST_LANE: 'tables' },
        },
      ];
    case 'stores':
      return [
        // With its slash: by its beginning alone it would run test/nights as well.
        long('the standing store', 'test/night/'),
        long('standing coordinators', 'test/nights'),
      ];
    case 'farm':
      return [long('machines of a farm', 'test/farm')];
    case 'chaos':
      return CHAOS_SEEDS.map((seed) => {
        const step = long(`disturbed by seed ${seed}`, 'test/chaos');
        return { ...step, env: { ...step.env, RUSHLIGHT_CHAOS_SEED: String(seed) } };
      });
    case 'pages':
      return [long('pages in a browser', 'test/pages')];
    case 'node':
      return NODE_MAJORS.flatMap((major) =>
        Array.from({ length: SHARES }, (_, share) => ({
          title: `Node ${major}, share ${share + 1} of ${SHARES}`,
          args: [...vitest, `--shard=${share + 1}/${SHARES}`],
          node: major,
        })),
      );
    case 'image':
      return hasImage ? [{ title: 'the image', args: ['setup/image.mjs'] }] : absent('setup/image.mjs');
    default:
      throw new RangeError(`no part ${part}`);
  }
}

/** What `npm run test:all -- --help` prints. */
export function helpText() {
  const width = Math.max(...partNames.map((name) => name.length));
  return [
    'npm run test:all [-- --part <name>]   what `npm test` leaves out; both must pass before a release',
    '',
    ...partNames.map(
      (name) =>
        `  ${name.padEnd(width)}  ${String(parts[name].minutes).padStart(3)} min  ${parts[name].about}`,
    ),
    '',
    'The times are of two idle cores. Without --part every part runs, in this order. What passed is kept until a source changes:',
    'run it again after an interruption, and it goes on with the step that was not finished. --again forgets what passed.',
  ].join('\n');
}

/** Options of the command line, or the words that are wrong with them. */
export function readOptions(words) {
  const options = { parts: partNames, again: false, help: false };
  for (let index = 0; index < words.length; index += 1) {
    const word = words[index];
    if (word === '--help') options.help = true;
    else if (word === '--again') options.again = true;
    else if (word === '--part') {
      index += 1;
      const name = words[index];
      if (!partNames.includes(name))
        return { error: `--part: ${name ?? 'nothing'} is none of ${partNames.join(', ')}` };
      options.parts = [name];
    } else return { error: `unknown option ${word}` };
  }
  return options;
}

/**
 * The steps that are still to be run. `passed`: titles, as the record has them.
 * @param {Step[]} steps
 * @param {string[]} passed
 * @returns {Step[]}
 */
export function stepsLeft(steps, passed) {
  return steps.filter((step) => step.missing !== undefined || !passed.includes(step.title));
}
