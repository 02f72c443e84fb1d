/**
 * XML of manifests, read safely: UTF-8 or UTF-16, well-formed only, no document type declaration (hence no entities of
 * anybody's own and no outside look-ups), and a bounded depth. Long lists are read record by record, without a tree of
 * all of them. Written by escaping every character that XML would change.
 */
import { TextDecoder } from 'node:util';
import { type SaxesAttributeNS, SaxesParser } from 'saxes';
import { plainBytes } from './text.ts';

/** An element as its start tag says it. */
export interface XmlStart {
  /** Local name. */
  readonly name: string;
  readonly namespace: string;
  /** By name as written; namespace declarations are not among them. */
  readonly attributes: Readonly<Record<string, string>>;
}

export interface XmlNode extends XmlStart {
  readonly children: readonly XmlNode[];
  /** Character data directly in this element, exactly, spaces kept. */
  readonly text: string;
}

/** The message says what is wrong with the document, for a finding. */
export class XmlError extends Error {}

/**
 * Asked of every element as it ends, with those it lies in, the root first. What it answers true for is not kept among
 * the children of its parent.
 */
export type TakeElement = (node: XmlNode, within: readonly XmlStart[]) => boolean;

const MAX_DEPTH = 64;
const CHUNK_BYTES = 64 * 1024;
const NAMESPACE_DECLARATIONS = 'http://www.w3.org/2000/xmlns/';

interface OpenElement extends XmlStart {
  readonly written: string;
  readonly children: XmlNode[];
  text: string;
}

function attributesOf(attributes: Readonly<Record<string, SaxesAttributeNS>>): Record<string, string> {
  const own: Record<string, string> = {};
  for (const { name, uri, value } of Object.values(attributes))
    if (uri !== NAMESPACE_DECLARATIONS) own[name] = value;
  return own;
}

const keepAll: TakeElement = () => false;

/** The root element, without what `take` took. Throws XmlError, and what `take` throws. */
export function parseXml(bytes: Buffer, take: TakeElement = keepAll): XmlNode {
  const plain = plainBytes(bytes);
  if (plain === null) throw new XmlError('it begins as UTF-16 text and is none');
  const open: OpenElement[] = [];
  let root: XmlNode | null = null;
  const parser = new SaxesParser({ xmlns: true });
  const wrong = (what: string): XmlError => new XmlError(`line ${parser.line}: ${what}`);
  parser.on('error', ({ message }) => {
    throw wrong(message.replace(/^\d+:\d+: /, '').replace(/\.$/, ''));
  });
  parser.on('xmldecl', ({ encoding }) => {
    const known = plain.from === 'bytes' ? /^(utf-?8|us-ascii)$/i : /^(utf-?8|utf-?16(le|be)?)$/i;
    if (encoding !== undefined && !known.test(encoding))
      throw new XmlError(`it is declared as ${encoding}, not UTF-8`);
  });
  parser.on('doctype', () => {
    throw new XmlError('it has a document type declaration, which a manifest never needs');
  });
  parser.on('opentag', ({ name, local, uri, attributes }) => {
    if (open.length === MAX_DEPTH) throw new XmlError(`elements nested deeper than ${MAX_DEPTH}`);
    open.push({
      name: local,
      namespace: uri,
      attributes: attributesOf(attributes),
      written: name,
      children: [],
      text: '',
    });
  });
  const addText = (text: string): void => {
    const inner = open.at(-1);
    if (inner !== undefined) inner.text += text;
  };
  parser.on('text', addText);
  parser.on('cdata', addText);
  parser.on('closetag', () => {
    const { written: _, ...node } = open.pop() as OpenElement;
    if (take(node, open)) return;
    const outer = open.at(-1);
    if (outer === undefined) root = node;
    else outer.children.push(node);
  });
  const decoder = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });
  for (let at = 0; at < plain.bytes.length; at += CHUNK_BYTES)
    parser.write(decoded(decoder, plain.bytes.subarray(at, at + CHUNK_BYTES)));
  const unclosed = open.at(-1);
  if (unclosed !== undefined) throw new XmlError(`it ends before </${unclosed.written}>`);
  if (plain.bytes.length === 0) throw new XmlError('it is empty');
  parser.write(decoded(decoder, null));
  parser.close();
  if (root === null) throw new XmlError('it holds no element');
  return root;
}

/** null: the end. */
function decoded(decoder: TextDecoder, bytes: Buffer | null): string {
  try {
    return bytes === null ? decoder.decode() : decoder.decode(bytes, { stream: true });
  } catch {
    throw new XmlError('it is not UTF-8 text');
  }
}

export function childrenOf(node: XmlNode, name: string): XmlNode[] {
  return node.children.filter((child) => child.name === name && child.namespace === node.namespace);
}

export function childOf(node: XmlNode, name: string): XmlNode | undefined {
  return node.children.find((child) => child.name === name && child.namespace === node.namespace);
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
