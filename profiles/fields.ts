/** Every field of a profile with its meaning and what it may hold, read from the schema: the one source for help, pages and refusals. */
import { z } from 'zod';
import { masterSchema } from './master/schema.ts';
import { profileSchema } from './schema.ts';

export interface Field {
  /** `raster.width`; members of a list have `[]`: `burn_in[].text`. */
  readonly path: string;
  /** What it may hold, in words. */
  readonly allowed: string;
  readonly meaning: string;
  /** Where a field exists only beside a certain codec: that codec. */
  readonly onlyWith: string | null;
}

/** The part of JSON Schema that the profile schema needs. */
interface Node {
  readonly type?: string;
  readonly description?: string;
  readonly properties?: Readonly<Record<string, Node>>;
  readonly items?: Node;
  readonly enum?: readonly unknown[];
  readonly const?: unknown;
  readonly anyOf?: readonly Node[];
  readonly oneOf?: readonly Node[];
  readonly minimum?: number;
  readonly maximum?: number;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly maxItems?: number;
  readonly pattern?: string;
}

function allowedOf(node: Node): string {
  // YAML reads bare digits as a number.
  const plain = (value: unknown): string =>
    typeof value === 'string' && /^\d+$/.test(value) ? `'${value}'` : String(value);
  if (node.const !== undefined) return plain(node.const);
  if (node.enum !== undefined) return node.enum.map(plain).join(', ');
  if (node.anyOf !== undefined) return node.anyOf.map(allowedOf).join(', ');
  if (node.type === 'null') return 'null';
  if (node.type === 'boolean') return 'true, false';
  if (node.type === 'integer') return `a whole number from ${node.minimum} to ${node.maximum}`;
  if (node.type === 'array')
    return node.items === undefined
      ? 'a list'
      : `a list${node.maxItems === undefined ? '' : ` of at most ${node.maxItems}`}${node.items.properties === undefined ? ` of: ${allowedOf(node.items)}` : ''}`;
  if (node.type === 'string' && node.pattern !== undefined)
    return 'small letters, digits and hyphens, at most 63, not starting with a hyphen';
  if (node.type === 'string') return `text of ${node.minLength ?? 0} to ${node.maxLength} characters`;
  return 'a group of fields';
}

function* walk(node: Node, path: string, onlyWith: string | null): Generator<Field> {
  if (path !== '') {
    const choices =
      node.oneOf === undefined ? null : node.oneOf.map((option) => String(option.properties?.codec?.const));
    yield {
      path,
      allowed: choices === null ? allowedOf(node) : 'a group of fields',
      meaning: node.description ?? '',
      onlyWith,
    };
  }
  const below = (name: string): string => (path === '' ? name : `${path}.${name}`);
  for (const [name, child] of Object.entries(node.properties ?? {}))
    yield* walk(child, below(name), onlyWith);
  for (const option of node.oneOf ?? []) {
    const codec = String(option.properties?.codec?.const);
    for (const [name, child] of Object.entries(option.properties ?? {}))
      yield* walk(child, below(name), codec);
  }
  if (node.items?.properties !== undefined) {
    for (const [name, child] of Object.entries(node.items.properties))
      yield* walk(child, `${path}[].${name}`, onlyWith);
  }
}

/** In the order of the schema, a group before its members. */
export const fields: readonly Field[] = [...walk(z.toJSONSchema(profileSchema) as Node, '', null)];
/** Of masters. */
export const masterFields: readonly Field[] = [...walk(z.toJSONSchema(masterSchema) as Node, '', null)];

/** Which fields a file has: by the `kind` that it says. */
export const fieldsOf = (values: Readonly<Record<string, unknown>>): readonly Field[] =>
  values.kind === 'master' ? masterFields : fields;

function joined(path: readonly PropertyKey[], index: (part: number) => string): string {
  return path.reduce<string>(
    (text, part) =>
      typeof part === 'number'
        ? `${text}[${index(part)}]`
        : text === ''
          ? String(part)
          : `${text}.${String(part)}`,
    '',
  );
}
/** `['burn_in', 0, 'text']` as `burn_in[].text`, the field of the schema. */
const fieldPath = (path: readonly PropertyKey[]): string => joined(path, () => '');
/** `['burn_in', 0, 'text']` as `burn_in[0].text`, the place in a file. */
export const placePath = (path: readonly PropertyKey[]): string => joined(path, String);

/** What the field may hold beside this codec (any, when the codec is not known); null for a path that is no field. */
export function allowedAt(
  path: readonly PropertyKey[],
  codec: unknown = undefined,
  table: readonly Field[] = fields,
): string | null {
  const wanted = fieldPath(path);
  const known = table.some((field) => field.onlyWith === codec);
  // The codec itself is the field that chooses.
  const matches = table.filter(
    (field) =>
      field.path === wanted &&
      (!known || wanted === 'video.codec' || field.onlyWith === null || field.onlyWith === codec),
  );
  return matches.length === 0 ? null : [...new Set(matches.map((field) => field.allowed))].join(', ');
}

/** Names of the fields directly below a path, beside this codec. */
export function namesBelow(
  path: readonly PropertyKey[],
  codec: unknown = undefined,
  table: readonly Field[] = fields,
): string[] {
  const start = path.length === 0 ? '' : `${fieldPath(path)}.`;
  return [
    ...new Set(
      table
        .filter(
          (field) => field.path.startsWith(start) && (field.onlyWith === null || field.onlyWith === codec),
        )
        .map((field) => field.path.slice(start.length)),
    ),
  ].filter((name) => !/[.[]/.test(name));
}
