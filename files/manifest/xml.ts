/**
 * XML of manifests, read safely: UTF-8 only, well-formed only, no document type declaration (hence no entities of
 * anybody's own and no outside look-ups), and a bounded depth. Written by escaping every character that XML would change.
 */
import { isUtf8 } from 'node:buffer';
import { XMLParser, XMLValidator } from 'fast-xml-parser';

export interface XmlNode {
  /** Local name. */
  readonly name: string;
  readonly namespace: string;
  /** By name as written; namespace declarations are not among them. */
  readonly attributes: Readonly<Record<string, string>>;
  readonly children: readonly XmlNode[];
  /** Character data directly in this element, exactly, spaces kept. */
  readonly text: string;
}

/** The message says what is wrong with the document, for a finding. */
export class XmlError extends Error {}

const MAX_DEPTH = 64;
const TEXT = '#text';
const CDATA = '#cdata';
const ATTRIBUTES = ':@';
type Raw = Readonly<Record<string, unknown>>;

const parser = new XMLParser({
  preserveOrder: true,
  ignoreAttributes: false,
  attributeNamePrefix: '',
  textNodeName: TEXT,
  cdataPropName: CDATA,
  parseTagValue: false,
  parseAttributeValue: false,
  trimValues: false,
  // Decoded below instead: exactly the five of XML and character numbers, each once.
  processEntities: false,
  ignoreDeclaration: true,
  ignorePiTags: true,
  maxNestedTags: MAX_DEPTH,
});

const NAMED: Readonly<Record<string, string>> = { lt: '<', gt: '>', amp: '&', quot: '"', apos: "'" };

function decode(text: string): string {
  return text.replace(/&([^;&]*);?/g, (whole, name: string) => {
    const number = /^#(?:x([0-9a-fA-F]{1,6})|([0-9]{1,7}))$/.exec(name);
    const code =
      number === null
        ? null
        : Number.parseInt(number[1] ?? number[2] ?? '', number[1] === undefined ? 10 : 16);
    const value =
      code !== null && code > 0 && code <= 0x10ffff && !(code >= 0xd800 && code <= 0xdfff)
        ? String.fromCodePoint(code)
        : Object.hasOwn(NAMED, name)
          ? NAMED[name]
          : undefined;
    if (value === undefined || !whole.endsWith(';'))
      throw new XmlError(`an entity that XML does not define: ${whole.slice(0, 20)}`);
    return value;
  });
}

function convert(raw: Raw, outer: Readonly<Record<string, string>>, depth: number): XmlNode {
  if (depth > MAX_DEPTH) throw new XmlError(`elements nested deeper than ${MAX_DEPTH}`);
  const tag = Object.keys(raw).find((key) => key !== ATTRIBUTES) as string;
  const attributes: Record<string, string> = {};
  const scope: Record<string, string> = { ...outer };
  for (const [name, value] of Object.entries((raw[ATTRIBUTES] ?? {}) as Readonly<Record<string, string>>)) {
    const text = decode(value);
    if (name === 'xmlns') scope[''] = text;
    else if (name.startsWith('xmlns:')) scope[name.slice(6)] = text;
    else attributes[name] = text;
  }
  const [prefix, name] = tag.includes(':') ? (tag.split(':', 2) as [string, string]) : ['', tag];
  const children: XmlNode[] = [];
  let text = '';
  for (const child of raw[tag] as readonly Raw[]) {
    if (TEXT in child) text += decode(String(child[TEXT]));
    else if (CDATA in child)
      text += (child[CDATA] as readonly Raw[]).map((part) => String(part[TEXT] ?? '')).join('');
    else children.push(convert(child, scope, depth + 1));
  }
  return {
    name,
    namespace: Object.hasOwn(scope, prefix) ? (scope[prefix] as string) : '',
    attributes,
    children,
    text,
  };
}

/** The root element. Throws XmlError. */
export function parseXml(bytes: Buffer): XmlNode {
  if (!isUtf8(bytes)) throw new XmlError('it is not UTF-8 text');
  const text = bytes
    .toString('utf8')
    .replace(/^\ufeff/, '')
    .replace(/\r\n?/g, '\n'); // XML 1.0, 2.11: line ends become one LF before anything else.
  const encoding = /^<\?xml[^>]*\sencoding\s*=\s*["']([^"']*)["']/.exec(text)?.[1];
  if (encoding !== undefined && !/^(utf-?8|us-ascii)$/i.test(encoding))
    throw new XmlError(`it is declared as ${encoding}, not UTF-8`);
  if (/<!DOCTYPE|<!ENTITY/i.test(text))
    throw new XmlError('it has a document type declaration, which a manifest never needs');
  const valid = XMLValidator.validate(text);
  if (valid !== true) throw new XmlError(`line ${valid.err.line}: ${valid.err.msg}`);
  let roots: readonly Raw[];
  try {
    roots = (parser.parse(text) as readonly Raw[]).filter((node) => !(TEXT in node));
  } catch (error) {
    throw new XmlError((error as Error).message);
  }
  if (roots.length !== 1) throw new XmlError(`${roots.length} root elements`);
  return convert(roots[0] as Raw, { xml: 'http://www.w3.org/XML/1998/namespace' }, 1);
}

export function childrenOf(node: XmlNode, name: string): XmlNode[] {
  return node.children.filter((child) => child.name === name && child.namespace === node.namespace);
}

export function childOf(node: XmlNode, name: string): XmlNode | undefined {
  return childrenOf(node, name)[0];
}

/** True when XML 1.0 can carry the text at all (production 2, Char). */
export function fitsXml(text: string): boolean {
  if (!text.isWellFormed()) return false;
  for (let index = 0; index < text.length; index++) {
    const code = text.charCodeAt(index);
    if ((code < 0x20 && code !== 0x09 && code !== 0x0a && code !== 0x0d) || code >= 0xfffe) return false;
  }
  return true;
}

/** Element content or attribute value. Throws RangeError for characters that XML cannot carry. */
export function escapeXml(text: string): string {
  if (!fitsXml(text)) throw new RangeError(`XML cannot carry this text: ${JSON.stringify(text)}`);
  return text.replace(/[&<>"'\t\n\r]/g, (character) => `&#${character.charCodeAt(0)};`);
}
