/** The page of declared decoders, docs/decoders.md, from the schema's own descriptions and the examples. Pure. */

const cell = (text) => text.replaceAll('|', '\\|').replaceAll('\n', ' ');

/** `fields`: as media/raw/decoders/declared/fields.ts gives them. `examples`: `{ name, text }`, as the files stand. */
export function decodersPage(fields, examples) {
  return [
    '# Decoders',
    '',
    'Raw frames are decoded by our own decoder (DNG without compression and with lossless JPEG), by LibRaw’s `unprocessed_raw` for what',
    'ours does not take, or by a program that somebody declares in a file: a vendor’s or one of your own. Whoever decodes, development is',
    'ours, and the same checks hold. The report of a clip names the decoder and its version.',
    '',
    'A declared decoder is a YAML file called `<name>.yaml`, named in the settings (docs/settings.md). Its command is run without a shell,',
    'in a folder of its own, and must write exactly as many pictures of exactly the size that the clip has: a byte more or less, an exit',
    'code other than 0, a signal or silence hold the clip. What it writes to standard error is kept for the log. Its version is a checksum',
    'over the file and the programs that it names, so that another program makes other masters.',
    '',
    'This page is made by `npm run docs` from the schema (`media/raw/decoders/declared/schema.ts`) and the examples.',
    '',
    '## Fields',
    '',
    '| field | values | when not stated | meaning |',
    '|---|---|---|---|',
    ...fields.map(({ path, allowed, unstated, meaning }) => `| \`${path}\` | ${cell(allowed)} | ${unstated === null ? 'must be stated' : `\`${unstated}\``} | ${cell(meaning)} |`),
    '',
    '## Examples',
    '',
    ...examples.flatMap(({ name, text }) => [`### ${name}`, '', '```yaml', text.trimEnd(), '```', '']),
  ].join('\n');
}
