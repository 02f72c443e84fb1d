/**
 * The rules of the ACES container, by which the checker judges a frame: SMPTE ST 2065-4:2013, "ACES Image Container File Layout".
 * Clause numbers are those of its table of contents. The wording of the rules is from memory, and from OpenEXR's description of the
 * container (website/bin/exr2aces.rst): version field 2 or 1026, scan lines, R, G, B and A alone, no compression, the chromaticities
 * of ST 2065-1, the flag with the value 1. Written for the checker alone; the writer has its own.
 */
import { createHash } from 'node:crypto';
import { type Attribute, attributeValue } from './attributes.ts';
import { ExrDamage } from './damage.ts';
import type { ExrHeader } from './header.ts';
import { TABLE_ENTRY } from './standard.ts';

/** SMPTE ST 2065-1: CIE x, y of the red, green and blue primary and of the white of ACES2065-1. */
const RED = [0.7347, 0.2653];
const GREEN = [0, 1];
const BLUE = [0.0001, -0.077];
export const ACES_WHITE: readonly [number, number] = [0.32168, 0.33767];

/** Stored as 32-bit floats, to which the published numbers are rounded. */
export function isAces2065(found: readonly number[] | null): boolean {
  const published = [...RED, ...GREEN, ...BLUE, ...ACES_WHITE].map(Math.fround);
  return found?.length === published.length && published.every((value, index) => value === found[index]);
}

/** 9.2 and on, in the order of the standard, which is that of the names; 7.5 says which of them every header has. */
const meanings: readonly (readonly [name: string, type: string, required?: 'required'])[] = [
  ['acesImageContainerFlag', 'int', 'required'],
  ['altitude', 'float'],
  ['aperture', 'float'],
  ['cameraFirmwareVersion', 'string'],
  ['cameraIdentifier', 'string'],
  ['cameraLabel', 'string'],
  ['cameraMake', 'string'],
  ['cameraModel', 'string'],
  ['cameraPosition', 'v3f'],
  ['cameraSerialNumber', 'string'],
  ['cameraUpDirection', 'v3f'],
  ['cameraViewingDirection', 'v3f'],
  ['capDate', 'string'],
  ['captureRate', 'rational'],
  ['channels', 'chlist', 'required'],
  ['chromaticities', 'chromaticities', 'required'],
  ['comments', 'string'],
  ['compression', 'compression', 'required'],
  ['convergenceDistance', 'float'],
  ['creator', 'string'],
  ['dataWindow', 'box2i', 'required'],
  ['displayWindow', 'box2i', 'required'],
  ['expTime', 'float'],
  ['focalLength', 'float'],
  ['focus', 'float'],
  ['framesPerSecond', 'rational'],
  ['free', 'string'],
  ['headerChecksum', 'string'],
  ['imageChecksum', 'string'],
  ['imageCounter', 'int'],
  ['imageRotation', 'float'],
  ['interocularDistance', 'float'],
  ['isoSpeed', 'float'],
  ['keyCode', 'keycode'],
  ['latitude', 'float'],
  ['lensAttributes', 'string'],
  ['lensMake', 'string'],
  ['lensModel', 'string'],
  ['lensSerialNumber', 'string'],
  ['lineOrder', 'lineOrder', 'required'],
  ['longitude', 'float'],
  ['multiView', 'stringVector'],
  ['originalImageFlag', 'int'],
  ['owner', 'string'],
  ['pixelAspectRatio', 'float', 'required'],
  ['recorderFirmwareVersion', 'string'],
  ['recorderMake', 'string'],
  ['recorderModel', 'string'],
  ['recorderSerialNumber', 'string'],
  ['reelName', 'string'],
  ['screenWindowCenter', 'v2f', 'required'],
  ['screenWindowWidth', 'float', 'required'],
  ['storageMediaSerialNumber', 'string'],
  ['timeCode', 'timecode'],
  ['timecodeRate', 'int'],
  ['utcOffset', 'float'],
  ['uuid', 'string'],
];
const typeOf: ReadonlyMap<string, string> = new Map(meanings.map(([name, type]) => [name, type]));
const required = meanings.filter(([, , there]) => there === 'required').map(([name]) => name);

/** Whether the container has a meaning for the name; others may add their own. */
export const hasMeaning = (name: string): boolean => typeOf.has(name);

/** 8.2 to 8.22. */
const types: ReadonlySet<string> = new Set(
  (
    'box2i chlist chromaticities compression double float half int lineOrder keycode rational short string ' +
    'stringVector timecode unsignedChar unsignedInt unsignedLong unsignedShort v2f v3f'
  ).split(' '),
);

/** 5.2 and 5.3: one eye or two, with or without alpha; stored in the order of their names. */
const channelSets: ReadonlySet<string> = new Set([
  'B G R',
  'A B G R',
  'B G R left.B left.G left.R',
  'A B G R left.A left.B left.G left.R',
]);

/** 7.4: version 2, and bit 10 where a name is longer than 31 bytes. */
const versions = [2, 1026];
/** 7.5 (from memory): most bytes of a header, the magic number and the version apart. */
const MOST_HEADER = 1024 * 1024;
/** MD5, stored as its raw bytes in an attribute of type string. */
const CHECKSUM = 16;

type Rule = (header: ExrHeader) => string[];

const versionAndSize: Rule = ({ version, end }) => [
  ...(versions.includes(version) ? [] : [`version field ${version}, not ${versions.join(' or ')}`]),
  ...(end <= MOST_HEADER + 8 ? [] : [`a header of ${end} bytes, more than ${MOST_HEADER + 8}`]),
];

const attributesThere: Rule = ({ attributes }) => {
  const there = [...attributes.keys()].filter((name) => required.includes(name));
  return [
    ...required.filter((name) => !attributes.has(name)).map((name) => `no attribute ${name}`),
    // As the Academy's reference writer has them (ampas/aces_container); whether the standard asks for it, nobody here has read.
    ...(there.join() === there.toSorted().join()
      ? []
      : [`required attributes in the order ${there.join(', ')}`]),
  ];
};

const attributeTypes: Rule = ({ attributes }) =>
  [...attributes.values()].flatMap(({ name, type }) => {
    const wanted = typeOf.get(name);
    if (wanted !== undefined && wanted !== type)
      return [`attribute ${name} is of type ${type}, not ${wanted}`];
    return types.has(type) ? [] : [`attribute ${name} is of type ${type}, which the container does not have`];
  });

/** A value that cannot be read is shown by its type or size. */
function tryRead<Value>(read: () => Value | null): Value | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof ExrDamage) return null;
    throw error;
  }
}

/** 9.2, 9.17. */
const flagAndColours: Rule = ({ attributes }) => {
  const flag = tryRead(() => attributeValue(attributes, 'acesImageContainerFlag', 'int'));
  const colours = tryRead(() => attributeValue(attributes, 'chromaticities', 'chromaticities'));
  return [
    ...(flag === null || flag === 1 ? [] : [`acesImageContainerFlag ${flag}, not 1`]),
    ...(colours === null || isAces2065(colours) ? [] : ['chromaticities other than those of ACES2065-1']),
  ];
};

/** 9.19, 5.5, 5.2. */
const picture: Rule = ({ compression, lineOrder, channels }) => {
  const names = channels.map(({ name }) => name).join(' ');
  return [
    ...(compression === 'none' ? [] : [`compression ${compression}, not none`]),
    ...(lineOrder === 'random-y' ? [`line order ${lineOrder}`] : []),
    ...(channelSets.has(names) ? [] : [`channels ${names}`]),
    ...channels.flatMap(({ name, kind, linear, xSampling, ySampling }) => [
      ...(kind === 'half' ? [] : [`channel ${name} is ${kind}, not half`]),
      ...(linear ? [`channel ${name} has pLinear set`] : []),
      ...(xSampling === 1 && ySampling === 1 ? [] : [`channel ${name} is sampled ${xSampling}x${ySampling}`]),
    ]),
  ];
};

const checksumSizes: Rule = ({ attributes }) =>
  ['imageChecksum', 'headerChecksum'].flatMap((name) => {
    const stored = attributes.get(name)?.bytes.length ?? CHECKSUM;
    return stored === CHECKSUM ? [] : [`${name} of ${stored} bytes, not ${CHECKSUM}`];
  });

const rules = [versionAndSize, attributesThere, attributeTypes, flagAndColours, picture, checksumSizes];

/** Every departure of a header from the rules, in words; none: it is that of an ACES container. */
export const acesHeaderFaults = (header: ExrHeader): string[] => rules.flatMap((rule) => rule(header));

/** Every departure of a whole file: of its header, and of checksums from what they are of. */
export function acesFaults(bytes: Uint8Array, header: ExrHeader): string[] {
  const { attributes, end, chunkCount } = header;
  const against = (name: string, counted: (attribute: Attribute) => string): string[] => {
    const attribute = attributes.get(name);
    if (attribute?.bytes.length !== CHECKSUM) return [];
    const stored = Buffer.from(attribute.bytes).toString('hex');
    const now = counted(attribute);
    return stored === now ? [] : [`${name} is ${stored}, the bytes give ${now}`];
  };
  return [
    ...acesHeaderFaults(header),
    // Over the storage of the scan lines (7.7): from behind the line offset table to the end.
    ...against('imageChecksum', () =>
      createHash('md5')
        .update(bytes.subarray(end + TABLE_ENTRY * chunkCount))
        .digest('hex'),
    ),
    // Over the header with the checksum's own bytes zero.
    ...against('headerChecksum', ({ at }) =>
      createHash('md5')
        .update(bytes.subarray(0, at))
        .update(new Uint8Array(CHECKSUM))
        .update(bytes.subarray(at + CHECKSUM, end))
        .digest('hex'),
    ),
  ];
}
