/** The chain file of an ASC MHL history: which generations there are, and the C4 ID of each. */
import { childOf, childrenOf, escapeXml, parseXml, XmlError } from './xml.ts';

export const HISTORY_FOLDER = 'ascmhl';
export const CHAIN_FILE = 'ascmhl_chain.xml';
const CHAIN_NAMESPACE = 'urn:ASC:MHL:DIRECTORY:v2.0';

export interface ChainEntry {
  readonly sequence: number;
  /** File name in the history's folder. */
  readonly file: string;
  readonly c4: string;
}

/** In the order of the file. Throws XmlError for what is no chain; order and numbers are the caller's to check. */
export function readChain(bytes: Buffer): ChainEntry[] {
  const root = parseXml(bytes);
  if (root.name !== 'ascmhldirectory' || root.namespace !== CHAIN_NAMESPACE)
    throw new XmlError(`its root is ${root.name} of "${root.namespace}", not an ASC MHL chain`);
  return childrenOf(root, 'hashlist').map((entry) => {
    const file = childOf(entry, 'path')?.text ?? '';
    const number = entry.attributes.sequencenr ?? '';
    if (!/^\d{1,9}$/.test(number)) throw new XmlError(`an entry with the number "${number}"`);
    if (file === '' || file.includes('/') || file === '..')
      throw new XmlError(`an entry that names "${file}", not a file in its own folder`);
    return { sequence: Number(number), file, c4: childOf(entry, 'c4')?.text.trim() ?? '' };
  });
}

export function writeChain(entries: readonly ChainEntry[]): Buffer {
  const lines = entries.map(
    ({ sequence, file, c4 }) =>
      `  <hashlist sequencenr="${sequence}">\n    <path>${escapeXml(file)}</path>\n    <c4>${c4}</c4>\n  </hashlist>\n`,
  );
  return Buffer.from(
    `<?xml version="1.0" encoding="UTF-8"?>\n<ascmhldirectory xmlns="${CHAIN_NAMESPACE}">\n${lines.join('')}</ascmhldirectory>\n`,
  );
}
