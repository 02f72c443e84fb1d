/** The strict ACES container (SMPTE ST 2065-4) as it is written: which attributes a header has, and its checksums. */
import { createHash } from 'node:crypto';
import { AP0, CHECKSUM_BYTES, acesOptional, acesRequired } from './aces-rules.ts';
import { type Chromaticities, type ExrAttribute, exrAttribute, type ExrType, exrValue } from './attribute.ts';
import type { HeaderLayout } from './header.ts';

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
  if (!Number.isFinite(value)) return String(value);
  for (let digits = 1; digits < 9; digits++)
    if (Math.fround(Number(value.toPrecision(digits))) === value)
      return String(Number(value.toPrecision(digits)));
  return String(Number(value.toPrecision(9)));
}

/** Types whose values are numbers in single precision, which are written short. */
const SINGLE: readonly ExrType[] = ['float', 'v2f', 'v3f', 'm33f', 'm44f'];
const OTHERS: readonly ExrType[] = ['double', 'int', 'rational', 'v2i', 'v3i'];

function textOf(attributes: ReadonlyMap<string, ExrAttribute>, name: string): string {
  const type = attributes.get(name)?.type;
  if (type === 'string') return exrValue(attributes, name, 'string') ?? '';
  const known = [...SINGLE, ...OTHERS].find((one) => one === type);
  const value = known === undefined ? null : exrValue(attributes, name, known);
  if (value === null) throw new RangeError(`${name}: the ACES container has no attribute of that name`);
  const write = SINGLE.some((one) => one === type) ? short : String;
  if (typeof value === 'object' && 'num' in value) return `${value.num}/${value.den}`;
  return [value]
    .flat()
    .map((one) => write(Number(one)))
    .join(' ');
}

function sameChromaticities(a: Chromaticities, b: Chromaticities): boolean {
  const list = ({ red, green, blue, white }: Chromaticities): number[] =>
    [...red, ...green, ...blue, ...white].map(Math.fround);
  return list(a).every((value, index) => value === list(b)[index]);
}

const md5 = (...parts: readonly Uint8Array[]): Buffer =>
  parts.reduce((hash, part) => hash.update(part), createHash('md5')).digest();

/**
 * Puts both checksums into a header whose own are still zero. That of the picture is over the storage of the scan lines: every
 * chunk, from behind the offset table to the end of the file. The header's own covers the picture's.
 */
export function putChecksums({ bytes, places }: HeaderLayout, storage: Uint8Array): void {
  const [image, own] = [places.get('imageChecksum'), places.get('headerChecksum')];
  if (image === undefined || own === undefined) throw new RangeError('a header without room for checksums');
  bytes.fill(0, own, own + CHECKSUM_BYTES);
  bytes.set(md5(storage), image);
  bytes.set(md5(bytes), own);
}
