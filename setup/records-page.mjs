/** The page of records, docs/records.md, and the files of docs/schemas/, from the forms (coordinator/records/forms.ts). Pure. */

const cell = (text) => text.replaceAll('|', '\\|').replaceAll('\n', ' ');

/** `#/$defs/clip-facts`: `clip-facts`. */
const partOf = (reference) => reference.replace('#/$defs/', '');
const isPart = (name) => !name.startsWith('__');

function typeOf(node) {
  if (node.$ref !== undefined)
    return isPart(partOf(node.$ref)) ? `[${partOf(node.$ref)}](#${partOf(node.$ref)})` : 'see the schema';
  if (node.const !== undefined) return `\`${JSON.stringify(node.const)}\``;
  if (node.enum !== undefined) return node.enum.map((value) => `\`${value}\``).join(', ');
  const options = node.anyOf ?? node.oneOf;
  if (options !== undefined) return [...new Set(options.map(typeOf))].join(' or ');
  if (node.type === 'array')
    return node.prefixItems === undefined
      ? `list of ${node.items === undefined ? 'values' : typeOf(node.items)}`
      : `${node.prefixItems.length} values: ${[...new Set(node.prefixItems.map(typeOf))].join(', ')}`;
  if (node.type === 'object')
    return typeof node.additionalProperties === 'object' && node.properties === undefined
      ? 'values by name'
      : 'object';
  if (node.type === 'integer') return 'whole number';
  return Array.isArray(node.type) ? node.type.join(' or ') : (node.type ?? 'any value');
}

/** Objects that stand in a field themselves: their fields are listed below it. */
function inside(node) {
  if (node.properties !== undefined) return [['', node]];
  if (node.type === 'array' && node.items !== undefined)
    return inside(node.items).map(([at, child]) => [`[]${at}`, child]);
  return (node.anyOf ?? node.oneOf ?? []).flatMap(inside);
}

function rowsOf(node, path, rows) {
  for (const [name, field] of Object.entries(node.properties ?? {})) {
    const at = path === '' ? name : `${path}.${name}`;
    const optional = !(node.required ?? []).includes(name);
    const row = { path: at, type: typeOf(field), optional, meaning: field.description ?? '' };
    const same = rows.find((other) => other.path === at);
    if (same === undefined) rows.push(row);
    // One name in several forms of an object: what each of them holds.
    else if (!same.type.split(' or ').includes(row.type)) {
      same.type = `${same.type} or ${row.type}`;
      if (row.meaning !== '' && row.meaning !== same.meaning)
        same.meaning = [same.meaning, row.meaning].filter((text) => text !== '').join('; ');
    }
    for (const [more, child] of inside(field)) rowsOf(child, `${at}${more}`, rows);
  }
  return rows;
}

/** `{ path, type, optional, meaning }` of every field of a schema or a part of one. */
export function recordFields(schema) {
  const rows = [];
  for (const [, node] of inside(schema)) rowsOf(node, '', rows);
  return rows;
}

const table = (schema) => [
  '| field | form | meaning |',
  '|---|---|---|',
  ...recordFields(schema).map(
    ({ path, type, optional, meaning }) =>
      `| \`${path}\`${optional ? ', may be absent' : ''} | ${cell(type)} | ${cell(meaning)} |`,
  ),
];

/** Parts that any of the forms refers to, each once, by name. */
export function partsOf(forms) {
  const parts = new Map();
  for (const { schema } of forms)
    for (const [name, part] of Object.entries(schema.$defs ?? {}))
      if (isPart(name) && !parts.has(name)) parts.set(name, part);
  return [...parts].sort(([a], [b]) => (a < b ? -1 : 1));
}

/** `forms`: as coordinator/records/forms.ts gives them. */
export function recordsPage(forms) {
  return [
    '# Records and files',
    '',
    'Every form of file that is written into a delivery, or that you write, field by field. This page and the schemas beside it (`schemas/`, JSON Schema,',
    'draft 2020-12) are made by `npm run docs` from the code that reads and writes these files. What commands print: [json.md](json.md).',
    '',
    '**`version` is 0 in all records until further notice**: fields may change from version to version of this program, and a record of an older one is then made again.',
    'Files that you write have version 1, and keep their form.',
    '',
    'Read what you know and pass over the rest. Sizes are bytes. Times of day are ISO 8601 in UTC, for people and never for decisions. Rates and ratios are pairs of whole numbers.',
    'Digests are lower-case hex. `null` means that it was looked for and is not known, or does not apply; an absent field is not the same.',
    'A byte of a file name that is not UTF-8 is a lone surrogate, U+DC80 to U+DCFF.',
    '',
    'A schema says what can be said of one field. What fields must agree with each other, the program checks: `rushlight audit` for records, `rushlight profiles lint` for profiles.',
    '',
    ...forms.flatMap(({ name, title, where, schema }) => [
      `## ${title}`,
      '',
      `${where}. Schema: [${name}.schema.json](schemas/${name}.schema.json).`,
      '',
      ...table(schema),
      '',
    ]),
    '## Parts',
    '',
    'Parts that occur in several of these.',
    '',
    ...partsOf(forms).flatMap(([name, part]) => [
      `### ${name}`,
      '',
      ...(part.description === undefined ? [] : [`${part.description}.`, '']),
      ...table(part),
      '',
    ]),
  ].join('\n');
}

/** `name` to text, of every file of docs/schemas/. */
export function schemaFiles(forms) {
  return new Map(
    forms.map(({ name, title, schema }) => {
      const { $schema, ...rest } = schema;
      return [`${name}.schema.json`, `${JSON.stringify({ $schema, title, ...rest }, null, 2)}\n`];
    }),
  );
}
