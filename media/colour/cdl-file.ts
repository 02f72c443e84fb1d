/**
 * Files of ASC CDL: `.cc` (one correction), `.ccc` (a collection), `.cdl` (decisions of clips), with the namespace of version 1.01 or 1.2 or
 * with none, as many programs write them. Elements that do not belong to the list are passed over, as the list's own rules ask;
 * a correction that holds neither of its two nodes is refused, since a slip in their names would otherwise be no correction at all.
 */
import { type XmlNode, XmlError, parseXml } from '../../files/manifest/xml.ts';
import type { Cdl } from './cdl.ts';
import { checkedCdl, type ListedCdl } from './cdl-listed.ts';
import { tripleIn, numberIn } from './clf-elements.ts';
import { edlCdls } from './cdl-edl.ts';
import { ColourFileError, quoted } from './refuse.ts';

const NAMESPACES = ['', 'urn:ASC:CDL:v1.01', 'urn:ASC:CDL:v1.2'];
const SOP = ['SOPNode', 'ASC_SOP'];
const SAT = ['SatNode', 'ASC_SAT'];

function childrenNamed(node: XmlNode, names: readonly string[], where: string): XmlNode | null {
  const found = node.children.filter(
    (child) => names.includes(child.name) && child.namespace === node.namespace,
  );
  if (found.length > 1) throw new ColourFileError(`${where}: ${found.length} ${names[0]} elements`, 'one');
  return found[0] ?? null;
}

function textOf(node: XmlNode, name: string, where: string): string {
  const child = childrenNamed(node, [name], where);
  if (child === null) throw new ColourFileError(`${where}: no ${name}`, `one ${name}`);
  return child.text;
}

function valuesOf(node: XmlNode, where: string): Cdl {
  const sop = childrenNamed(node, SOP, where);
  const sat = childrenNamed(node, SAT, where);
  if (sop === null && sat === null)
    throw new ColourFileError(`${where}: neither SOPNode nor SatNode`, 'one of them, or both');
  const triple = (name: string): readonly [number, number, number] =>
    tripleIn(textOf(sop as XmlNode, name, where), `${where}: ${name}`);
  return checkedCdl(
    {
      slope: sop === null ? [1, 1, 1] : triple('Slope'),
      offset: sop === null ? [0, 0, 0] : triple('Offset'),
      power: sop === null ? [1, 1, 1] : triple('Power'),
      saturation: sat === null ? 1 : numberIn(textOf(sat, 'Saturation', where), `${where}: Saturation`),
    },
    where,
  );
}

const withoutEnding = (name: string): string => name.replace(/\.[A-Za-z0-9]{1,5}$/, '');
/** Name of the file that a reference leads to, in whatever form of path or address it is written. */
function referred(ref: string): string {
  let path = ref;
  try {
    path = decodeURI(ref);
  } catch {
    // Not an address, then: the name as it stands.
  }
  return withoutEnding(path.split(/[/\\]/).at(-1) ?? path);
}

function correction(node: XmlNode, index: number, more: readonly string[]): ListedCdl {
  const id = node.attributes.id?.trim() ?? '';
  const place = `correction ${index + 1}${id === '' ? '' : `, ${quoted(id)}`}`;
  return {
    values: valuesOf(node, place),
    id: id === '' ? null : id,
    place,
    names: [...new Set([...(id === '' ? [] : [id, withoutEnding(id)]), ...more])],
    reel: null,
    span: null,
  };
}

/** Decisions of clips, whose corrections may be written out once and referred to. */
function decisions(root: XmlNode): ListedCdl[] {
  const named = new Map<string, XmlNode>();
  const visit = (node: XmlNode): void => {
    if (node.name === 'ColorCorrection' && node.attributes.id !== undefined)
      named.set(node.attributes.id, node);
    for (const child of node.children) visit(child);
  };
  visit(root);
  const list = root.children.filter(({ name }) => name === 'ColorDecision' || name === 'ColorCorrection');
  return list.map((node, index) => {
    if (node.name === 'ColorCorrection') return correction(node, index, []);
    const where = `decision ${index + 1}`;
    const ref = childrenNamed(node, ['MediaRef'], where)?.attributes.ref;
    const own = childrenNamed(node, ['ColorCorrection'], where);
    const other = childrenNamed(node, ['ColorCorrectionRef'], where)?.attributes.ref;
    const found = own ?? (other === undefined ? null : named.get(other));
    if (found === null || found === undefined)
      throw new ColourFileError(
        `${where}: ${other === undefined ? 'no ColorCorrection' : `a reference to ${quoted(other)}, which is not in the file`}`,
        'a ColorCorrection, or a reference to one of this file',
      );
    return correction(found, index, ref === undefined ? [] : [referred(ref)]);
  });
}

function xmlCdls(bytes: Buffer): ListedCdl[] {
  let root: XmlNode;
  try {
    root = parseXml(bytes);
  } catch (error) {
    if (error instanceof XmlError) throw new ColourFileError(error.message, 'a well-formed XML file');
    throw error;
  }
  if (!NAMESPACES.includes(root.namespace))
    throw new ColourFileError(
      `elements of ${quoted(root.namespace)}`,
      `the namespace ${NAMESPACES.slice(1).join(' or ')}, or none`,
    );
  switch (root.name) {
    case 'ColorCorrection':
      return [correction(root, 0, [])];
    case 'ColorCorrectionCollection':
      return root.children
        .filter(({ name }) => name === 'ColorCorrection')
        .map((node, index) => correction(node, index, []));
    case 'ColorDecisionList':
      return decisions(root);
    default:
      throw new ColourFileError(
        `the element ${quoted(root.name)}`,
        'ColorCorrection, ColorCorrectionCollection or ColorDecisionList',
      );
  }
}

export const isCdlFile = (name: string): boolean => /\.(?:cdl|cc|ccc|edl)$/i.test(name);

/**
 * Every correction of a file, by its ending. `name`: without folders; one correction alone in its file may be meant by that name too.
 * Throws ColourFileError when anything of it is not understood, when it holds none, or when two have one id.
 */
export function cdlsOf(name: string, bytes: Buffer): ListedCdl[] {
  const listed = /\.edl$/i.test(name) ? edlCdls(bytes) : xmlCdls(bytes);
  if (listed.length === 0)
    throw new ColourFileError(
      'no correction',
      /\.edl$/i.test(name) ? 'ASC_SOP and ASC_SAT below its events' : 'at least one',
    );
  const seen = new Map<string, ListedCdl>();
  for (const one of listed) {
    if (one.id === null) continue;
    const other = seen.get(one.id);
    if (other !== undefined && JSON.stringify(other.values) !== JSON.stringify(one.values))
      throw new ColourFileError(`the id ${quoted(one.id)} twice, with other numbers`, 'every id once');
    seen.set(one.id, one);
  }
  const [only] = listed;
  return listed.length === 1 && only !== undefined && only.span === null
    ? [{ ...only, names: [...new Set([...only.names, withoutEnding(name)])] }]
    : listed;
}
