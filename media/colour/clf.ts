/**
 * Files of the Common LUT Format 3.0 (Academy S-2014-006; SMPTE ST 2136-1 has the same nodes). Values are brought to floating
 * point scale while they are read: an integer bit depth says how numbers are written, it never rounds or limits.
 */
import { type XmlNode, XmlError, parseXml } from '../../files/manifest/xml.ts';
import { halfOf } from './evaluate.ts';
import type { Triple } from './matrix.ts';
import { ColourFileError, numberOf, quoted } from './refuse.ts';
import { type Curve, type LogParameters, type Step, cdlStyles, exponentStyles } from './steps.ts';

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
const COMMON_ATTRIBUTES = ['id', 'name', 'inBitDepth', 'outBitDepth', 'xml:lang'];
const CHANNELS = ['R', 'G', 'B'] as const;
const MOST_HALF = 0x7bff;

function attributesOf(
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
function childrenBesides(node: XmlNode, allowed: readonly string[], where: string): XmlNode[] {
  const children = node.children.filter(({ name }) => name !== 'Description');
  const unknown = children.find(({ name }) => !allowed.includes(name));
  if (unknown !== undefined)
    throw new ColourFileError(
      `${where}: the element ${quoted(unknown.name)}`,
      allowed.length === 0 ? 'none' : `no other than ${allowed.join(', ')}`,
    );
  return children;
}

function only(children: readonly XmlNode[], name: string, where: string): XmlNode {
  const named = children.filter((child) => child.name === name);
  if (named.length !== 1) throw new ColourFileError(`${where}: ${named.length} ${name} elements`, 'one');
  return named[0] as XmlNode;
}

function oneOf<Name extends string>(value: string | undefined, names: readonly Name[], what: string): Name {
  const found = names.find((name) => name === value);
  if (found === undefined)
    throw new ColourFileError(
      `${what} ${value === undefined ? 'missing' : quoted(value)}`,
      `one of ${names.join(', ')}`,
    );
  return found;
}

function numberIn(text: string, what: string): number {
  const value = numberOf(text.trim());
  if (value === null) throw new ColourFileError(`${what} ${quoted(text.trim())}`, 'a number');
  return value;
}

function numbersIn(text: string, count: number, what: string): number[] {
  const words = text.trim().split(/\s+/);
  const values = words.filter((word) => word !== '').map((word) => numberIn(word, what));
  if (values.length !== count) throw new ColourFileError(`${what}: ${values.length} numbers`, `${count}`);
  return values;
}

const tripleIn = (text: string, what: string): Triple => numbersIn(text, 3, what) as [number, number, number];

interface Place {
  readonly node: XmlNode;
  /** For sentences: which node it is. */
  readonly where: string;
  /** What 1.0 is written as, on the way in and out. */
  readonly inScale: number;
  readonly outScale: number;
}

function arrayOf(
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
function flag(value: string | undefined, what: string): boolean {
  if (value !== undefined && value !== 'true')
    throw new ColourFileError(`${what} ${quoted(value)}`, '“true”, or no such attribute');
  return value === 'true';
}

function table1({ node, where, outScale }: Place): Step[] {
  const { interpolation, halfDomain, rawHalfs } = attributesOf(
    node,
    [...COMMON_ATTRIBUTES, 'interpolation', 'halfDomain', 'rawHalfs'],
    where,
  );
  if (interpolation !== undefined) oneOf(interpolation, ['linear'], `${where}: interpolation`);
  const { dim, node: array } = arrayOf(
    { node, where, inScale: 1, outScale },
    childrenBesides(node, ['Array'], where),
  );
  const [length, components] = dim as [number, number];
  if (
    dim.length !== 2 ||
    !Number.isInteger(length) ||
    length < 2 ||
    length > 65536 ||
    ![1, 3].includes(components)
  )
    throw new ColourFileError(
      `${where}: dim ${dim.join(' ')}`,
      'from 2 to 65536 entries with 1 or 3 components',
    );
  const half = flag(halfDomain, `${where}: halfDomain`);
  if (half && length !== 65536)
    throw new ColourFileError(`${where}: ${length} entries with halfDomain`, '65536');
  const raw = flag(rawHalfs, `${where}: rawHalfs`);
  const values =
    raw || half
      ? wordsOrHalfs(array.text, length * components, raw, where)
      : numbersIn(array.text, length * components, where);
  const channel = (c: number): Float64Array =>
    Float64Array.from(
      { length },
      (_, place) => (values[place * components + (components === 3 ? c : 0)] as number) / outScale,
    );
  const tables = [channel(0), channel(1), channel(2)] as const;
  // With halfDomain the entries of infinities and of what is no number are never looked up.
  const used = (index: number): boolean => !half || (index & 0x7fff) <= MOST_HALF;
  if (tables.some((table) => table.some((value, index) => used(index) && !Number.isFinite(value))))
    throw new ColourFileError(`${where}: an entry that is no finite number`, 'finite numbers');
  return [
    { kind: 'table1', tables: [...tables], domain: half ? 'half' : { low: [0, 0, 0], high: [1, 1, 1] } },
  ];
}

/** Numbers, infinities and `nan` as files with halfDomain have them, or the bits of 16-bit floats. */
function wordsOrHalfs(text: string, count: number, raw: boolean, where: string): number[] {
  const words = text.trim().split(/\s+/);
  if (words.length !== count) throw new ColourFileError(`${where}: ${words.length} numbers`, `${count}`);
  return words.map((word) => {
    if (raw) {
      if (!/^\d{1,5}$/.test(word) || Number(word) > 65535)
        throw new ColourFileError(`${where}: ${quoted(word)} with rawHalfs`, 'whole numbers from 0 to 65535');
      return halfOf(Number(word));
    }
    if (/^[+-]?nan$/i.test(word)) return Number.NaN;
    const infinite = /^([+-]?)inf(?:inity)?$/i.exec(word);
    return infinite === null
      ? numberIn(word, where)
      : infinite[1] === '-'
        ? Number.NEGATIVE_INFINITY
        : Number.POSITIVE_INFINITY;
  });
}

function table3({ node, where, outScale }: Place): Step[] {
  const { interpolation } = attributesOf(node, [...COMMON_ATTRIBUTES, 'interpolation'], where);
  const { dim, node: array } = arrayOf(
    { node, where, inScale: 1, outScale },
    childrenBesides(node, ['Array'], where),
  );
  const [size, second, third, components] = dim as [number, number, number, number];
  if (
    dim.length !== 4 ||
    size !== second ||
    size !== third ||
    components !== 3 ||
    !Number.isInteger(size) ||
    size < 2 ||
    size > 256
  )
    throw new ColourFileError(`${where}: dim ${dim.join(' ')}`, 'n n n 3 with n from 2 to 256');
  const written = numbersIn(array.text, 3 * size ** 3, where);
  // Written with blue fastest, kept with red fastest.
  const values = new Float64Array(written.length);
  for (let r = 0; r < size; r++)
    for (let g = 0; g < size; g++)
      for (let b = 0; b < size; b++)
        for (let c = 0; c < 3; c++)
          values[3 * (r + size * (g + size * b)) + c] =
            (written[3 * (b + size * (g + size * r)) + c] as number) / outScale;
  return [
    {
      kind: 'table3',
      size,
      values,
      low: [0, 0, 0],
      high: [1, 1, 1],
      interpolation: oneOf(
        interpolation ?? 'trilinear',
        ['trilinear', 'tetrahedral'],
        `${where}: interpolation`,
      ),
    },
  ];
}

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

/** One element for all channels, or one for each that is named; what `missing` gives stands for channels without one. */
function perChannel<Value>(
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

const PLAIN_LOG: LogParameters = {
  base: 2,
  logSideSlope: 1,
  logSideOffset: 0,
  linSideSlope: 1,
  linSideOffset: 0,
  linSideBreak: null,
  linearSlope: null,
};
const logStyles = [
  'log10',
  'antiLog10',
  'log2',
  'antiLog2',
  'linToLog',
  'logToLin',
  'cameraLinToLog',
  'cameraLogToLin',
] as const;

function log({ node, where }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style,
    logStyles,
    `${where}: style`,
  );
  const bare = {
    log10: ['toLog', 10],
    antiLog10: ['toLin', 10],
    log2: ['toLog', 2],
    antiLog2: ['toLin', 2],
  } as const;
  const elements = childrenBesides(node, style in bare ? [] : ['LogParams'], where);
  if (style in bare) {
    const [direction, base] = bare[style as keyof typeof bare];
    const curve: Curve = { form: 'log', parameters: { ...PLAIN_LOG, base }, direction };
    return [{ kind: 'curves', curves: [curve, curve, curve] }];
  }
  const camera = style.startsWith('camera');
  const direction = style === 'linToLog' || style === 'cameraLinToLog' ? 'toLog' : 'toLin';
  const read = (element: XmlNode): Curve => {
    const attributes = attributesOf(
      element,
      [
        'base',
        'logSideSlope',
        'logSideOffset',
        'linSideSlope',
        'linSideOffset',
        'channel',
        ...(camera ? ['linSideBreak', 'linearSlope'] : []),
      ],
      where,
    );
    const value = (name: string, other: number): number =>
      attributes[name] === undefined ? other : numberIn(attributes[name], `${where}: ${name}`);
    if (camera && attributes.linSideBreak === undefined)
      throw new ColourFileError(`${where}: no linSideBreak`, 'linSideBreak with a camera style');
    const parameters: LogParameters = {
      base: value('base', 2),
      logSideSlope: value('logSideSlope', 1),
      logSideOffset: value('logSideOffset', 0),
      linSideSlope: value('linSideSlope', 1),
      linSideOffset: value('linSideOffset', 0),
      linSideBreak: camera ? value('linSideBreak', 0) : null,
      linearSlope: attributes.linearSlope === undefined ? null : value('linearSlope', 0),
    };
    if (
      parameters.base <= 0 ||
      parameters.base === 1 ||
      parameters.logSideSlope === 0 ||
      parameters.linSideSlope === 0 ||
      parameters.linearSlope === 0
    )
      throw new ColourFileError(
        `${where}: base ${parameters.base}, slopes ${parameters.logSideSlope}, ${parameters.linSideSlope}, ${parameters.linearSlope ?? 'by default'}`,
        'a base above 0 that is not 1, and slopes other than 0',
      );
    if (
      parameters.linSideBreak !== null &&
      parameters.linSideSlope * parameters.linSideBreak + parameters.linSideOffset <= 0
    )
      throw new ColourFileError(
        `${where}: linSideBreak ${parameters.linSideBreak}`,
        'a value that has a logarithm',
      );
    return { form: 'log', parameters, direction };
  };
  const curves = perChannel(elements, where, read, (channel) => {
    throw new ColourFileError(
      `${where}: no LogParams for ${channel}`,
      'one for all channels, or one for each',
    );
  });
  const bases = new Set(curves.map((curve) => (curve.form === 'log' ? curve.parameters.base : null)));
  if (bases.size > 1)
    throw new ColourFileError(`${where}: bases ${[...bases].join(', ')}`, 'the same base for every channel');
  return [{ kind: 'curves', curves }];
}

function exponent({ node, where }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style,
    exponentStyles,
    `${where}: style`,
  );
  const basic = style.startsWith('basic');
  const read = (element: XmlNode): Curve => {
    const attributes = attributesOf(element, ['exponent', 'channel', ...(basic ? [] : ['offset'])], where);
    const power = numberIn(attributes.exponent ?? '', `${where}: exponent`);
    const offset = basic ? null : numberIn(attributes.offset ?? '', `${where}: offset`);
    if (
      offset === null
        ? !(power > 0)
        : !((power === 1 && offset === 0) || (power > 1 && power <= 10 && offset > 0 && offset <= 0.9))
    ) {
      throw new ColourFileError(
        `${where}: exponent ${power}${offset === null ? '' : `, offset ${offset}`}`,
        basic
          ? 'an exponent above 0'
          : 'an exponent above 1 to 10 with an offset above 0 to 0.9, or 1 with 0',
      );
    }
    return { form: 'exponent', style, exponent: power, offset };
  };
  const elements = childrenBesides(node, ['ExponentParams'], where);
  if (elements.length === 0)
    throw new ColourFileError(
      `${where}: no ExponentParams`,
      'one for all channels, or one for each that is changed',
    );
  // A channel that is not named has the nominal values, as OpenColorIO reads it.
  return [
    {
      kind: 'curves',
      curves: perChannel(elements, where, read, () => ({
        form: 'exponent',
        style,
        exponent: 1,
        offset: basic ? null : 0,
      })),
    },
  ];
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
  if (!/^3(?:\.0){0,2}$/.test(compCLFversion ?? ''))
    throw new ColourFileError(`compCLFversion ${compCLFversion ?? 'missing'}`, '3.0');
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
