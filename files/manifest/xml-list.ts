/** A list of files in XML, of either kind, read entry by entry so that a long one fits into memory. */
import { type Generation, GenerationReader, isGeneration } from './generation.ts';
import { HashList1Reader, isHashList1 } from './hash-list-1.ts';
import type { Reading } from './statement.ts';
import { parseXml, XmlError, type XmlStart } from './xml.ts';

export type XmlList =
  | { readonly kind: 'asc-mhl'; readonly generation: Generation }
  | { readonly kind: 'hash-list-1'; readonly reading: Reading };

/** `manifest`: the name that findings give it. Throws XmlError, and TooManyEntries. */
export function readXmlList(bytes: Buffer, manifest: string): XmlList {
  const generation = new GenerationReader(manifest);
  const older = new HashList1Reader(manifest);
  const root = parseXml(bytes, (node, within) => {
    const [outermost, inner, ...further] = within;
    if (outermost === undefined || further.length > 0) return false;
    if (inner === undefined) {
      if (node.name !== 'hash' || !isHashList1(outermost)) return false;
      older.entry(node);
      return true;
    }
    if (inner.name !== 'hashes' || inner.namespace !== outermost.namespace || !isGeneration(outermost))
      return false;
    generation.entry(node);
    return true;
  });
  if (isGeneration(root)) return { kind: 'asc-mhl', generation: generation.finish(root) };
  if (isHashList1(root)) return { kind: 'hash-list-1', reading: older.finish() };
  throw new XmlError(`${rootText(root)}, not a hash list that is known`);
}

export function rootText(root: XmlStart): string {
  const version = root.attributes.version === undefined ? '' : `, version ${root.attributes.version}`;
  return `its root is ${root.name} of "${root.namespace}"${version}`;
}
