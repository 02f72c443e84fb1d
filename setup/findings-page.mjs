/** The page of all findings, docs/findings.md, from the registry. Pure. */

const areas = [
  ['roll', 'The roll and its copies', 'Found at intake, before anything is queued.'],
  ['clip', 'The clip', 'Found at the survey, when every clip is measured.'],
  ['profile', 'The profile', 'Found before anything runs, or when a clip does not fit what a profile asks.'],
  [
    'sound',
    'Production sound',
    'What proxies carry of the recordings of the day, where their profile asks for it.',
  ],
  [
    'raw',
    'Raw clips',
    'Found at the survey, when the tags of every raw frame are read, and when a declared decoder is.',
  ],
  ['colour', 'Colour', 'Found before anything runs, when the transform of a source is read.'],
  [
    'deliverable',
    'What was made',
    'Found while a deliverable is made, checked or published, or when a delivery is audited.',
  ],
  [
    'proof',
    'The content',
    "Found when a deliverable's frame fingerprints, audio and packets are held against its source's, on the run and in an audit.",
  ],
  ['master', 'Masters', 'Found when frames for grading are made, checked or audited.'],
  [
    'settings',
    'Settings of a show',
    'Found when the settings are read, and when a clip is to become a master.',
  ],
  ['provenance', 'The statement', 'Found when a delivery is audited or signed.'],
  [
    'handover',
    'The handover',
    'Found when a day is handed over: at the end of a run, in an audit, and when it is copied to drives.',
  ],
  [
    'pull',
    'Pulls',
    'Found when a cut is read and followed to the clips of a day (`--pull`), and when a pull is audited.',
  ],
  [
    'lease',
    'Who is at work',
    'Found when a run or worker takes a delivery or a work folder, and while it has it.',
  ],
  [
    'page',
    'Pages',
    'Found when pages and contact sheets are written, and when a day is compared with the one before it: by a run, by `page` and by `plan`.',
  ],
  ['run', 'The run', 'Found by a run as a whole: folders, queue, workers, targets, and the gate.'],
  ['machine', 'The machine', 'Found by `doctor`, by the demo, and whenever a program is started.'],
  [
    'coordinator',
    'Standing coordinators and messages',
    'Found when `rushlight coordinator` or `run --messages` begins, and while they go on.',
  ],
];

const cell = (text) => text.replaceAll('|', '\\|').replaceAll('\n', ' ');

/** `codes`: area → code → `{ weight, title, remedy }`, as findings/codes/ has them. */
export function findingsPage(codes) {
  const parts = areas.map(([area, title, when]) => {
    const rows = Object.entries(codes[area])
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(
        ([code, { weight, title: matter, remedy }]) =>
          `| \`${code}\` | ${weight} | ${cell(matter)} | ${cell(remedy)} |`,
      );
    return [
      `## ${title}`,
      '',
      when,
      '',
      '| code | weight | what is the matter | what to do |',
      '|---|---|---|---|',
      ...rows,
    ].join('\n');
  });
  return [
    '# Findings',
    '',
    'A finding is one fact that differs from what it should be: a code, what was found, what was expected, and what to do.',
    '`hold`: the roll cannot be ready while it stands. `note`: shown, and nothing more.',
    'A code that has once been in a stored report keeps its meaning. This page is made by `npm run docs`.',
    '',
    parts.join('\n\n'),
    '',
  ].join('\n');
}
