/**
 * Files of the Common LUT Format 3.0 (Academy S-2014-006; SMPTE ST 2136-1 has the same nodes). Values are brought to floating
 * point scale while they are read: an integer bit depth says how numbers are written, it never rounds or limits.
 */
import { type XmlNode, XmlError, parseXml } from '../../files/manifest/xml.ts';
import type { Triple } from './matrix.ts';
import { exponent, log } from './clf-curves.ts';
import {
  arrayOf,
  attributesOf,
  childrenBesides,
  COMMON_ATTRIBUTES,
  numberIn,
  numbersIn,
  oneOf,
  only,
  type Place,
  tripleIn,
} from './clf-elements.ts';
import { table1, table3 } from './clf-tables.ts';
import { ColourFileError, quoted } from './refuse.ts';
import { cdlStyles, type Step } from './steps.ts';

const NAMESPACES = ['', 'urn:AMPAS:CLF:v3.0', 'http://www.smpte-ra.org/ns/2136-1/2024'];
/** Elements that describe and do nothing. */
const DESCRIPTIVE = ['Description', 'InputDescriptor', 'OutputDescriptor', 'Info', 'Id'];
const DEPTHS: Readonly<Record<string, number>> = {
  '8i': 255,
  '10i': 1023,
  '12i': 4095,
  '16i': 65535,
  '16f': 1,
  '32f': 1,
};

function matrix(place: Place): Step[] {
  const { node, where, inScale, outScale } = place;
  attributesOf(node, COMMON_ATTRIBUTES, where);
  const { dim, node: array } = arrayOf(place, childrenBesides(node, ['Array'], where));
  // Earlier versions wrote a third number, which says nothing (Academy S-2014-006, Matrix).
  const width = dim[1] as number;
  if (dim.length < 2 || dim.length > 3 || dim[0] !== 3 || ![3, 4].includes(width))
    throw new ColourFileError(`${where}: dim ${dim.join(' ')}`, '3 3 or 3 4');
  const values = numbersIn(array.text, 3 * width, where);
  const row = (r: number): Triple =>
    [0, 1, 2].map((c) => ((values[r * width + c] as number) * inScale) / outScale) as [
      number,
      number,
      number,
    ];
  const offset = (r: number): number => (width === 4 ? (values[r * width + 3] as number) / outScale : 0);
  return [{ kind: 'matrix', matrix: [row(0), row(1), row(2)], offset: [offset(0), offset(1), offset(2)] }];
}

function range({ node, where, inScale, outScale }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style ?? 'Clamp',
    ['Clamp', 'noClamp'],
    `${where}: style`,
  );
  const names = ['minInValue', 'maxInValue', 'minOutValue', 'maxOutValue'];
  const children = childrenBesides(node, names, where);
  const valueIn = (name: string): number | null => {
    if (!children.some((child) => child.name === name)) return null;
    return (
      numberIn(only(children, name, where).text, `${where}: ${name}`) /
      (name.includes('In') ? inScale : outScale)
    );
  };
  const [minIn, maxIn, minOut, maxOut] = names.map(valueIn) as [
    number | null,
    number | null,
    number | null,
    number | null,
  ];
  if (
    (minIn === null) !== (minOut === null) ||
    (maxIn === null) !== (maxOut === null) ||
    (minIn === null && maxIn === null)
  )
    throw new ColourFileError(
      `${where}: ${children.map(({ name }) => name).join(', ') || 'no value'}`,
      'the pair of minimums, the pair of maximums, or both',
    );
  if (minIn !== null && minOut !== null && maxIn !== null && maxOut !== null) {
    if (!(maxIn > minIn) || maxOut < minOut)
      throw new ColourFileError(
        `${where}: from ${minIn}…${maxIn} to ${minOut}…${maxOut}`,
        'maximums above their minimums',
      );
    const scale = (maxOut - minOut) / (maxIn - minIn);
    const shift = minOut - minIn * scale;
    const steps: Step[] = [
      {
        kind: 'matrix',
        matrix: [
          [scale, 0, 0],
          [0, scale, 0],
          [0, 0, scale],
        ],
        offset: [shift, shift, shift],
      },
    ];
    if (style === 'Clamp') steps.push({ kind: 'clamp', low: minOut, high: maxOut });
    return steps;
  }
  if (style === 'noClamp') throw new ColourFileError(`${where}: noClamp with one pair`, 'both pairs');
  const [wanted, given] = [minIn ?? maxIn, minOut ?? maxOut] as [number, number];
  if (Math.abs(wanted - given) > 1e-6 * Math.max(1, Math.abs(wanted)))
    throw new ColourFileError(
      `${where}: one pair that shifts values, ${wanted} to ${given}`,
      'the same value on both sides',
    );
  return [{ kind: 'clamp', low: minOut, high: maxOut }];
}

function cdl({ node, where }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style ?? 'Fwd',
    cdlStyles,
    `${where}: style`,
  );
  const children = childrenBesides(node, ['SOPNode', 'SatNode'], where);
  const [sop, sat] = ['SOPNode', 'SatNode'].map((name) =>
    children.some((child) => child.name === name) ? only(children, name, where) : null,
  ) as [XmlNode | null, XmlNode | null];
  const part = (parent: XmlNode, name: string, names: readonly string[]): string =>
    only(childrenBesides(parent, names, where), name, where).text;
  const SOP = ['Slope', 'Offset', 'Power'];
  const slope: Triple = sop === null ? [1, 1, 1] : tripleIn(part(sop, 'Slope', SOP), `${where}: Slope`);
  const offset: Triple = sop === null ? [0, 0, 0] : tripleIn(part(sop, 'Offset', SOP), `${where}: Offset`);
  const power: Triple = sop === null ? [1, 1, 1] : tripleIn(part(sop, 'Power', SOP), `${where}: Power`);
  const saturation =
    sat === null ? 1 : numberIn(part(sat, 'Saturation', ['Saturation']), `${where}: Saturation`);
  const reverse = style.startsWith('Rev');
  if (
    slope.some((value) => value < 0 || (reverse && value === 0)) ||
    power.some((value) => value <= 0) ||
    saturation < 0 ||
    (reverse && saturation === 0)
  ) {
    throw new ColourFileError(
      `${where}: slope ${slope.join(' ')}, power ${power.join(' ')}, saturation ${saturation}`,
      `slopes and saturation of 0 or more${reverse ? ', above 0 for the reverse' : ''}, powers above 0`,
    );
  }
  return [{ kind: 'cdl', style, slope, offset, power, saturation }];
}

const NODES: Readonly<Record<string, (place: Place) => Step[]>> = {
  LUT1D: table1,
  LUT3D: table3,
  Matrix: matrix,
  Range: range,
  Log: log,
  Exponent: exponent,
  ASC_CDL: cdl,
};

function rootOf(bytes: Buffer): XmlNode {
  try {
    return parseXml(bytes);
  } catch (error) {
    if (error instanceof XmlError) throw new ColourFileError(error.message, 'a well-formed XML file');
    throw error;
  }
}

/** Throws ColourFileError when anything in the file is not understood. */
export function clfSteps(bytes: Buffer): Step[] {
  const root = rootOf(bytes);
  if (root.name !== 'ProcessList' || !NAMESPACES.includes(root.namespace))
    throw new ColourFileError(
      `the element ${quoted(root.name)}${root.namespace === '' ? '' : ` of ${quoted(root.namespace)}`}`,
      'a ProcessList of the Common LUT Format 3.0',
    );
  const { compCLFversion } = attributesOf(
    root,
    ['id', 'compCLFversion', 'name', 'inverseOf', 'xml:lang'],
    'ProcessList',
  );
  if (!/^(?:3(?:\.0){0,2}|ST2136-1:2024)$/.test(compCLFversion ?? ''))
    throw new ColourFileError(`compCLFversion ${compCLFversion ?? 'missing'}`, '3.0 or ST2136-1:2024');
  const nodes = root.children.filter(({ name }) => !DESCRIPTIVE.includes(name));
  if (nodes.length === 0) throw new ColourFileError('a ProcessList without a node', 'at least one');
  let before: string | null = null;
  return nodes.flatMap((node, index) => {
    const where = `node ${index + 1}, ${node.name}`;
    const read = NODES[node.name];
    if (read === undefined || node.namespace !== root.namespace)
      throw new ColourFileError(where, `one of ${Object.keys(NODES).join(', ')}`);
    const inDepth = oneOf(node.attributes.inBitDepth, Object.keys(DEPTHS), `${where}: inBitDepth`);
    const outDepth = oneOf(node.attributes.outBitDepth, Object.keys(DEPTHS), `${where}: outBitDepth`);
    if (before !== null && before !== inDepth)
      throw new ColourFileError(
        `${where}: inBitDepth ${inDepth} behind outBitDepth ${before}`,
        'the same depth on both sides',
      );
    before = outDepth;
    return read({ node, where, inScale: DEPTHS[inDepth] as number, outScale: DEPTHS[outDepth] as number });
  });
}
