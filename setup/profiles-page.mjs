/** The page of profiles, docs/profiles.md, from the schema's own descriptions and the built-in files. Pure. */

const cell = (text) => text.replaceAll('|', '\\|').replaceAll('\n', ' ');

/** A file of the user's own, as the page shows it; a test loads it. */
export const exampleName = 'cutting-room';
export const exampleFile = `# As editorial-rdd36, smaller, with the name of the roll in the file name.
version: 1
name: ${exampleName}
summary: RDD 36 proxy, 1280 x 720 at most, for the cutting room of the bell foundry film
extends: editorial-rdd36
raster: { width: 1280, height: 720 }
file_name: '{roll}_{clip}'
`;

/**
 * `fields`, `masterFields`: as profiles/fields.ts gives them. `builtIns`: `{ name, summary, text }` in the order of `rushlight profiles list`;
 * `text` is the file as it stands.
 */
export function profilesPage(fields, masterFields, builtIns) {
  const row = ({ path, allowed, meaning, onlyWith }) =>
    `| \`${path}\`${onlyWith === null ? '' : ` (with ${onlyWith})`} | ${cell(allowed)} | ${cell(meaning)} |`;
  return [
    '# Profiles',
    '',
    'A profile is a named delivery: what to make, from what, how it must come out, and which checks must have passed.',
    'This page is made by `npm run docs` from the schema (`profiles/schema.ts`) and the built-in files.',
    '',
    '## Built in',
    '',
    '`rushlight profiles list` names them, `rushlight profiles show <name>` prints one field by field.',
    '',
    ...builtIns.flatMap(({ name, summary, text }) => [
      `### ${name}`,
      '',
      `${summary}.`,
      '',
      '```yaml',
      text.trimEnd(),
      '```',
      '',
    ]),
    '## Your own',
    '',
    'A profile file is YAML and called `<name>.yaml`, where `<name>` is its field `name`. Name it by its path: `--profile ./cutting-room.yaml`.',
    'With `extends: <name>` it takes over a built-in profile, or a file `<name>.yaml` beside it: groups merge field by field,',
    'lists and single values replace what was taken over. `version`, `name` and `summary` are always stated and never taken over.',
    '`kind` says which other fields there are: `movie` or `master`.',
    'Another codec leaves the settings of the codec that was taken over behind. Without `extends` every field must be there.',
    '',
    '```yaml',
    exampleFile.trimEnd(),
    '```',
    '',
    '`rushlight profiles lint <file>` lists every fault with its line and what would do: a field that does not exist, a value',
    'that a field cannot have, fields that cannot stand together, a check that is left out, an encoder or filter that this ffmpeg',
    'lacks. `run` and `plan` refuse the same before anything is read or made. A profile is named by the SHA-256 of what it says',
    '(without the summary): deliverables of another hash are made again.',
    '',
    '## Fields',
    '',
    '| field | values | meaning |',
    '|---|---|---|',
    ...fields.map(row),
    '| `extends` | name of a profile | Takes over that profile. Stands in the file alone; the finished profile has no such field |',
    '',
    '## Fields of masters',
    '',
    'A profile with `kind: master` makes frames for grading: nothing is scaled, cut or lit. What log pictures mean and how raw frames',
    'are developed, the settings say (docs/settings.md).',
    '',
    '| field | values | meaning |',
    '|---|---|---|',
    ...masterFields.map(row),
    '',
  ].join('\n');
}
