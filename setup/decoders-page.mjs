/** The page of declared decoders, docs/decoders.md, from the schema's own descriptions and the examples. Pure. */

const cell = (text) => text.replaceAll('|', '\\|').replaceAll('\n', ' ');

/** `fields`: as media/raw/decoders/declared/fields.ts gives them. `examples`: `{ name, text }`, as the files stand. */
export function decodersPage(fields, examples) {
  return [
    '# Decoders',
    '',
    "Raw frames are decoded by our own decoder (DNG without compression and with lossless JPEG), by LibRaw's `unprocessed_raw` for what",
    "ours does not take, or by a program that somebody declares in a file: a vendor's or one of your own. Whoever decodes, development is",
    'ours, and the same checks hold. The report of a clip names the decoder and its version.',
    '',
    'A declared decoder is a YAML file called `<name>.yaml`, named in the settings (docs/settings.md). Its command is run without a shell,',
    'in a folder of its own, and must write exactly as many pictures of exactly the size that the clip has: a byte more or less, an exit',
    'code other than 0, a signal or silence hold the clip. What it writes to standard error is kept for the log. Its version is a checksum',
    'over what the file says and the programs that it names, so that another program makes other masters. A script is named itself,',
    'with the line that names its interpreter in it: behind the name of its interpreter nobody would notice that it changed.',
    '',
    '## Which clips it takes',
    '',
    '```yaml',
    '# The settings of the night, --settings <file>',
    'version: 1',
    'decoders: [tools/bell.yaml, tools/strips.yaml]',
    'cameras:',
    "  - { name: A, known_by: { rolls: ['A#*'] }, raw: { decoder: strips } }",
    "  - { name: B, known_by: { rolls: ['B#*'] }, input: { name: slog3-sgamut3cine } }",
    '```',
    '',
    'Paths are as seen from the settings. A file that cannot be, or a program that is not there, ends `run` and `plan` before anything is',
    'read.',
    '',
    '- One that gives sensor values (`cfa16`) is asked behind our own decoder and LibRaw, or alone where `raw.decoder` names it.',
    '- One that gives pictures (`rgb48`, `rgbf32`) takes every file that its patterns match, whatever else could read it, the first in',
    '  the list before the others. DNG frames it takes only where `raw.decoder` names it or nothing. What its values mean is said by',
    '  `input`, as for any log original; masters are made of such clips, and movies are not.',
    '',
    'Workers on other machines need the same programs: by the same name on their PATH, or at the same path. One that has another refuses',
    'the clip.',
    '',
    'This page is made by `npm run docs` from the schema (`media/declaration.ts`) and the examples.',
    '',
    '## Fields',
    '',
    '| field | values | when not stated | meaning |',
    '|---|---|---|---|',
    ...fields.map(
      ({ path, allowed, unstated, meaning }) =>
        `| \`${path}\` | ${cell(allowed)} | ${unstated === null ? 'must be stated' : `\`${unstated}\``} | ${cell(meaning)} |`,
    ),
    '',
    '## Examples',
    '',
    ...examples.flatMap(({ name, text }) => [`### ${name}`, '', '```yaml', text.trimEnd(), '```', '']),
  ].join('\n');
}
