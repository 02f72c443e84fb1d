/** The strict ACES container (SMPTE ST 2065-4): which attributes a header has, its checksums, and every departure of a file from the rules. */
import { createHash } from 'node:crypto';
import {
  ACES_MOST_HEADER,
  AP0,
  CHECKSUM_BYTES,
  acesChannels,
  acesOptional,
  acesRequired,
  acesTypes,
} from './aces-rules.ts';
import { type Chromaticities, type ExrAttribute, exrAttribute, exrValue } from './attribute.ts';
import { ExrDamage } from './damage.ts';
import { EXR_VERSION, OFFSET_BYTES, exrFlags } from './header.ts';
import { type ExrHeader, attributesOf } from './parse.ts';

/** Without a prototype: an attribute may be called `constructor`. */
const allowed: Readonly<Record<string, string>> = Object.assign(
  Object.create(null),
  acesRequired,
  acesOptional,
);
const zeroes = (name: string): ExrAttribute => ({
  name,
  type: 'string',
  bytes: new Uint8Array(CHECKSUM_BYTES),
});

/**
 * A frame's attributes as the container takes them. What it has no name for (white balance, free texts) goes into
 * comments, a line `name: value` each, so that nothing is lost. Both checksums are there, not yet counted.
 * Throws RangeError unless the chromaticities are those of ACES2065-1.
 */
export function acesAttributes(attributes: readonly ExrAttribute[]): ExrAttribute[] {
  const byName = new Map(attributes.map((attribute) => [attribute.name, attribute]));
  const chromaticities = exrValue(byName, 'chromaticities', 'chromaticities');
  if (chromaticities === null || !sameChromaticities(chromaticities, AP0))
    throw new RangeError('the ACES container holds ACES2065-1 only; its chromaticities differ');
  const kept = attributes.filter(({ name }) => allowed[name] !== undefined && name !== 'comments');
  const left = attributes
    .filter(({ name }) => allowed[name] === undefined)
    .map(({ name }) => `${name}: ${textOf(byName, name)}`);
  const comments = [exrValue(byName, 'comments', 'string') ?? '', ...left]
    .filter((line) => line !== '')
    .join('\n');
  return [
    ...kept,
    ...(comments === '' ? [] : [exrAttribute('comments', 'string', comments)]),
    exrAttribute('acesImageContainerFlag', 'int', 1),
    zeroes('imageChecksum'),
    zeroes('headerChecksum'),
  ];
}

/** A 32-bit float in the fewest digits that tell it from its neighbours; nine always do. */
function short(value: number): string {
  for (let digits = 1; digits < 9; digits++)
    if (Math.fround(Number(value.toPrecision(digits))) === value)
      return String(Number(value.toPrecision(digits)));
  return String(Number(value.toPrecision(9)));
}

function textOf(attributes: ReadonlyMap<string, ExrAttribute>, name: string): string {
  const type = attributes.get(name)?.type;
  if (type === 'string') return exrValue(attributes, name, 'string') ?? '';
  if (type === 'float') return short(exrValue(attributes, name, 'float') ?? 0);
  if (type === 'v2f') return (exrValue(attributes, name, 'v2f') ?? []).map(short).join(' ');
  throw new RangeError(`${name}: the ACES container has no attribute of that name`);
}

function sameChromaticities(a: Chromaticities, b: Chromaticities): boolean {
  const list = ({ red, green, blue, white }: Chromaticities): number[] =>
    [...red, ...green, ...blue, ...white].map(Math.fround);
  return list(a).every((value, index) => value === list(b)[index]);
}

const md5 = (...parts: readonly Uint8Array[]): Buffer =>
  parts.reduce((hash, part) => hash.update(part), createHash('md5')).digest();

/** Place of a checksum's sixteen bytes in a header; null without one. */
function checksumPlace(header: Uint8Array, name: 'imageChecksum' | 'headerChecksum'): number | null {
  const attribute = attributesOf(header).attributes.get(name);
  return attribute?.bytes.length === CHECKSUM_BYTES ? attribute.at : null;
}

/** Over the storage of the scan lines: every chunk, from behind the offset table to the end of the file. */
export const imageChecksum = (storage: Uint8Array): Buffer => md5(storage);

/** Over the header with the checksum's own bytes zero. */
export function headerChecksum(header: Uint8Array): Buffer {
  const at = checksumPlace(header, 'headerChecksum');
  if (at === null) return md5(header);
  return md5(header.subarray(0, at), new Uint8Array(CHECKSUM_BYTES), header.subarray(at + CHECKSUM_BYTES));
}

/** Puts both checksums into a header: the header's own covers the picture's. */
export function putChecksums(header: Uint8Array, storage: Uint8Array): void {
  const image = checksumPlace(header, 'imageChecksum');
  const own = checksumPlace(header, 'headerChecksum');
  if (image === null || own === null) throw new RangeError('a header without room for checksums');
  header.set(imageChecksum(storage), image);
  header.set(headerChecksum(header), own);
}

/** Every departure of a header from the rules, in words; none: it is that of an ACES container. */
export function acesHeaderFaults(header: ExrHeader): string[] {
  const faults: string[] = [];
  const { attributes } = header;
  const read = <Value>(value: () => Value): Value | null => {
    try {
      return value();
    } catch (error) {
      if (error instanceof ExrDamage) return null;
      throw error;
    }
  };
  if ((header.version & ~exrFlags.longNames) !== EXR_VERSION)
    faults.push(`version field ${header.version}, not ${EXR_VERSION} or ${EXR_VERSION | exrFlags.longNames}`);
  if (header.end > ACES_MOST_HEADER + 8)
    faults.push(`a header of ${header.end} bytes, more than ${ACES_MOST_HEADER + 8}`);
  for (const [name, type] of Object.entries(acesRequired)) {
    const found = attributes.get(name);
    if (found === undefined) faults.push(`no attribute ${name}`);
    else if (found.type !== type) faults.push(`attribute ${name} is of type ${found.type}, not ${type}`);
  }
  const required = [...attributes.keys()].filter((name) => name in acesRequired);
  if (required.some((name, index) => index > 0 && name < (required[index - 1] as string)))
    faults.push(`required attributes in the order ${required.join(', ')}`);
  for (const { name, type } of attributes.values()) {
    if (!(acesTypes as readonly string[]).includes(type))
      faults.push(`attribute ${name} is of type ${type}, which the container does not have`);
    else if (name in acesOptional && type !== allowed[name])
      faults.push(`attribute ${name} is of type ${type}, not ${allowed[name]}`);
  }
  const flag = read(() => exrValue(attributes, 'acesImageContainerFlag', 'int'));
  if (flag !== null && flag !== 1) faults.push(`acesImageContainerFlag ${flag}, not 1`);
  const chromaticities = read(() => exrValue(attributes, 'chromaticities', 'chromaticities'));
  if (chromaticities !== null && !sameChromaticities(chromaticities, AP0))
    faults.push('chromaticities other than those of ACES2065-1');
  if (header.compression !== 'none') faults.push(`compression ${header.compression}, not none`);
  if (header.lineOrder === 'random-y') faults.push('line order random-y');
  const names = header.channels.map(({ name }) => name).join(' ');
  if (!(acesChannels as readonly string[]).includes(names)) faults.push(`channels ${names}`);
  for (const { name, pixelType, linear, xSampling, ySampling } of header.channels) {
    if (pixelType !== 'half') faults.push(`channel ${name} is ${pixelType}, not half`);
    if (linear) faults.push(`channel ${name} has pLinear set`);
    if (xSampling !== 1 || ySampling !== 1)
      faults.push(`channel ${name} is sampled ${xSampling}x${ySampling}`);
  }
  for (const name of ['imageChecksum', 'headerChecksum'] as const) {
    const stored = attributes.get(name);
    if (stored !== undefined && stored.bytes.length !== CHECKSUM_BYTES)
      faults.push(`${name} of ${stored.bytes.length} bytes, not ${CHECKSUM_BYTES}`);
  }
  return faults;
}

/** Names that the container has no meaning for: others' own additions, or what belongs to OpenEXR alone. None in what is written here. */
export function unlistedAttributes({ attributes }: ExrHeader): string[] {
  return [...attributes.keys()].filter((name) => allowed[name] === undefined);
}

/** Every departure of a whole file: of its header, and of checksums from what they are of. */
export function acesFaults(bytes: Uint8Array, header: ExrHeader): string[] {
  const faults = acesHeaderFaults(header);
  const different = (name: 'imageChecksum' | 'headerChecksum', counted: () => Buffer): void => {
    const stored = header.attributes.get(name);
    if (stored?.bytes.length === CHECKSUM_BYTES && counted().compare(stored.bytes) !== 0)
      faults.push(
        `${name} is ${Buffer.from(stored.bytes).toString('hex')}, the bytes give ${counted().toString('hex')}`,
      );
  };
  different('imageChecksum', () =>
    imageChecksum(bytes.subarray(header.end + OFFSET_BYTES * header.chunkCount)),
  );
  different('headerChecksum', () => headerChecksum(bytes.subarray(0, header.end)));
  return faults;
}
