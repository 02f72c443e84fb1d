/** What elements of the Common LUT Format hold, and how each is refused: attributes, children, numbers, arrays, channels. */
import type { XmlNode } from '../../files/manifest/xml.ts';
import type { Triple } from './matrix.ts';
import { ColourFileError, numberOf, quoted } from './refuse.ts';

/** Attributes that every node may have. */
export const COMMON_ATTRIBUTES = ['id', 'name', 'inBitDepth', 'outBitDepth', 'xml:lang'];
const CHANNELS = ['R', 'G', 'B'] as const;

export function attributesOf(
  node: XmlNode,
  allowed: readonly string[],
  where: string,
): Readonly<Record<string, string>> {
  const unknown = Object.keys(node.attributes).find(
    (name) => !allowed.includes(name) && !name.startsWith('xsi:'),
  );
  if (unknown !== undefined)
    throw new ColourFileError(
      `${where}: the attribute ${quoted(unknown)}`,
      `no other than ${allowed.join(', ')}`,
    );
  return node.attributes;
}

/** Children by name, descriptions left out. Whatever is not `allowed` is refused. */
export function childrenBesides(node: XmlNode, allowed: readonly string[], where: string): XmlNode[] {
  const children = node.children.filter(({ name }) => name !== 'Description');
  const unknown = children.find(({ name }) => !allowed.includes(name));
  if (unknown !== undefined)
    throw new ColourFileError(
      `${where}: the element ${quoted(unknown.name)}`,
      allowed.length === 0 ? 'none' : `no other than ${allowed.join(', ')}`,
    );
  return children;
}

export function only(children: readonly XmlNode[], name: string, where: string): XmlNode {
  const named = children.filter((child) => child.name === name);
  if (named.length !== 1) throw new ColourFileError(`${where}: ${named.length} ${name} elements`, 'one');
  return named[0] as XmlNode;
}

export function oneOf<Name extends string>(
  value: string | undefined,
  names: readonly Name[],
  what: string,
): Name {
  const found = names.find((name) => name === value);
  if (found === undefined)
    throw new ColourFileError(
      `${what} ${value === undefined ? 'missing' : quoted(value)}`,
      `one of ${names.join(', ')}`,
    );
  return found;
}

export function numberIn(text: string, what: string): number {
  const value = numberOf(text.trim());
  if (value === null) throw new ColourFileError(`${what} ${quoted(text.trim())}`, 'a number');
  return value;
}

export function numbersIn(text: string, count: number, what: string): number[] {
  const words = text.trim().split(/\s+/);
  const values = words.filter((word) => word !== '').map((word) => numberIn(word, what));
  if (values.length !== count) throw new ColourFileError(`${what}: ${values.length} numbers`, `${count}`);
  return values;
}

export const tripleIn = (text: string, what: string): Triple =>
  numbersIn(text, 3, what) as [number, number, number];

export interface Place {
  readonly node: XmlNode;
  /** For sentences: which node it is. */
  readonly where: string;
  /** What 1.0 is written as, on the way in and out. */
  readonly inScale: number;
  readonly outScale: number;
}

export function arrayOf(
  { where }: Place,
  children: readonly XmlNode[],
): { readonly dim: readonly number[]; readonly node: XmlNode } {
  const node = only(children, 'Array', where);
  const dim = (attributesOf(node, ['dim'], where).dim ?? '')
    .trim()
    .split(/\s+/)
    .map((word) => numberIn(word, `${where}: dim`));
  return { dim, node };
}

/** `true` when the attribute is there; the format knows no other value. */
export function flag(value: string | undefined, what: string): boolean {
  if (value !== undefined && value !== 'true')
    throw new ColourFileError(`${what} ${quoted(value)}`, '“true”, or no such attribute');
  return value === 'true';
}

/** One element for all channels, or one for each that is named; channels without one get what `missing` gives. */
export function perChannel<Value>(
  elements: readonly XmlNode[],
  where: string,
  read: (element: XmlNode) => Value,
  missing: (channel: string) => Value,
): [Value, Value, Value] {
  const [first] = elements;
  if (first !== undefined && elements.length === 1 && first.attributes.channel === undefined) {
    const value = read(first);
    return [value, value, value];
  }
  const named = elements.map((element) => oneOf(element.attributes.channel, CHANNELS, `${where}: channel`));
  if (new Set(named).size !== named.length)
    throw new ColourFileError(`${where}: channels ${named.join(', ')}`, 'every channel once');
  return CHANNELS.map((channel) => {
    const element = elements[named.indexOf(channel)];
    return element === undefined ? missing(channel) : read(element);
  }) as [Value, Value, Value];
}
