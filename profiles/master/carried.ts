/** What a source says beside its pictures, and what of it the frames of a master say in their turn. Pure. */
import type { ClipAttribute, LeftOut } from '../../media/formats/stated-schema.ts';
import { type StatedFrame, StatedGatherer, statedOfFrames } from '../../media/formats/stated.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { type Rate, ratio } from '../../media/time/rate.ts';
import { aheadOfUtc, offsetText } from '../../media/time/zone.ts';
import { acesOptional } from '../../media/formats/exr/aces-rules.ts';
import type { FrameFormat } from './schema.ts';

/**
 * Keys of movies, by what they say: those of QuickTime File Format, "Metadata" (com.apple.quicktime, published with the format), the
 * user data that ISO 14496-12 and 3GPP TS 26.244 give short names, and the rate that phones state; as ffprobe names them.
 */
const MOVIE_TEXTS: Readonly<Record<string, readonly string[]>> = {
  cameraMake: ['com.apple.quicktime.make', 'make', 'com.android.manufacturer'],
  cameraModel: ['com.apple.quicktime.model', 'model', 'com.android.model'],
  cameraIdentifier: ['com.apple.quicktime.camera.identifier'],
  lensModel: ['com.apple.quicktime.camera.lens_model'],
};
const CAPTURE_RATE = 'com.android.capture.fps';
const CREATED = ['com.apple.quicktime.creationdate', 'creation_time', 'modification_date'];
const LOCATION = ['com.apple.quicktime.location.ISO6709', 'location', 'location-eng'];
/** How the file is made, which says nothing of the shot; read as facts where it matters. */
const OF_THE_FILE: ReadonlySet<string> = new Set([
  ...['major_brand', 'minor_version', 'compatible_brands', 'encoder', 'handler_name', 'vendor_id'],
  ...['timecode', 'language', 'reel_name', 'creation_time', 'modification_date', 'duration'],
  ...['uid', 'generation_uid', 'product_uid', 'material_package_umid', 'file_package_umid', 'reel_umid'],
]);

/** ISO 6709, annex H: latitude and longitude in degrees, altitude in metres. */
const ISO_6709 = /^([+-]\d{2}(?:\.\d+)?)([+-]\d{3}(?:\.\d+)?)([+-]\d+(?:\.\d+)?)?/;
/** ISO 8601, with or without what the clock is ahead of UTC. */
const TIME = /^(\d{4})-(\d\d)-(\d\d)[T ](\d\d:\d\d:\d\d)(?:\.\d+)?(Z|[+-]\d\d:?\d\d)?$/;

function rateOf(text: string | undefined): Rate | null {
  const match = /^(\d{1,5})(?:\.(\d{1,6}))?$/.exec(text ?? '');
  if (match === null) return null;
  const decimals = (match[2] ?? '').replace(/0+$/, '');
  const den = 10 ** decimals.length;
  const num = Number(match[1]) * den + Number(decimals === '' ? 0 : decimals);
  return num > 0 ? ratio(num, den) : null;
}

/** By the keys of a movie. */
function statedInMovie(metadata: Readonly<Record<string, string>>): StatedFrame {
  const said = new StatedGatherer();
  const used = new Set<string>([...OF_THE_FILE, ...CREATED, ...LOCATION, CAPTURE_RATE]);
  for (const [name, keys] of Object.entries(MOVIE_TEXTS))
    for (const key of keys) {
      used.add(key);
      said.text(name, metadata[key] ?? null, key);
    }
  const rate = rateOf(metadata[CAPTURE_RATE]);
  if (rate !== null)
    said.add({ name: 'captureRate', type: 'rational', value: [rate.num, rate.den], from: CAPTURE_RATE });
  for (const key of CREATED) {
    const [, year, month, day, clock, zone] = TIME.exec(metadata[key] ?? '') ?? [];
    if (year === undefined) continue;
    said.text('capDate', `${year}:${month}:${day} ${clock}`, key);
    const [, side, hours, minutes] = /^([+-])(\d\d):?(\d\d)$/.exec(zone ?? '') ?? [];
    const ahead = 3600 * Number(hours ?? 0) + 60 * Number(minutes ?? 0);
    // OpenEXR: what is to be added to local time for UTC.
    if (zone !== undefined) said.float('utcOffset', ahead === 0 ? 0 : side === '+' ? -ahead : ahead, key);
    break;
  }
  for (const key of LOCATION) {
    const place = ISO_6709.exec(metadata[key] ?? '');
    if (place === null) continue;
    said.float('latitude', Number(place[1]), key);
    said.float('longitude', Number(place[2]), key);
    if (place[3] !== undefined) said.float('altitude', Number(place[3]), key);
    break;
  }
  for (const key of Object.keys(metadata))
    if (!used.has(key.replace(/^picture:/, ''))) said.leave(key, 'OpenEXR has no place for it');
  return said.frame();
}

const BY_HAND = 'settings, ';

/** The exposure index that the curve is of. */
function isoByHand({ interpretation }: ClipFacts): ClipAttribute[] {
  const input = interpretation?.input ?? null;
  return input === null || !('ei' in input) || input.ei === undefined
    ? []
    : [
        {
          name: 'isoSpeed',
          type: 'float',
          from: `${BY_HAND}ei`,
          values: [{ frame: 0, value: input.ei }],
        },
      ];
}

/** What the dates of the source are ahead of UTC in the time zone of the show; OpenEXR says the other way what is to be added for UTC. */
function offsetByHand({ interpretation }: ClipFacts, dates: ClipAttribute | undefined): ClipAttribute[] {
  const zone = interpretation?.timeZone;
  if (zone === undefined || dates === undefined) return [];
  const values: ClipAttribute['values'] = [];
  for (const { frame, value } of dates.values) {
    const ahead = typeof value === 'string' ? aheadOfUtc(value, zone) : null;
    const offset = ahead === null ? null : ahead === 0 ? 0 : -ahead;
    if ((values.at(-1)?.value ?? null) !== offset) values.push({ frame, value: offset });
  }
  return values.length === 0
    ? []
    : [{ name: 'utcOffset', type: 'float', from: `${BY_HAND}time_zone`, values }];
}

/** Of whoever says it in the settings, where the source says nothing of its own; named in an attribute, so that nobody takes it for the camera's word. */
function statedByHand(facts: ClipFacts, own: ReadonlyMap<string, ClipAttribute>): ClipAttribute[] {
  const found = [...isoByHand(facts), ...offsetByHand(facts, own.get('capDate'))].filter(
    ({ name }) => !own.has(name),
  );
  const [first] = found;
  if (first === undefined || own.has('statedByHand')) return [];
  const value = found.map(({ name }) => name).join(', ');
  return [
    ...found,
    { name: 'statedByHand', type: 'string', from: first.from, values: [{ frame: 0, value }] },
  ];
}

/** `captured`: rate of a clip whose frames are played at another; what the source itself says of how it was captured goes before it. */
function statedOf(facts: ClipFacts, captured: Rate | null): { attributes: ClipAttribute[]; left: LeftOut[] } {
  const stated = facts.kind === 'movie' ? statedOfFrames([statedInMovie(facts.metadata)]) : facts.stated;
  const attributes = [...(stated?.attributes ?? [])];
  if (captured !== null && !attributes.some(({ name }) => name === 'captureRate'))
    attributes.push({
      name: 'captureRate',
      type: 'rational',
      from: 'rate of the clip',
      values: [{ frame: 0, value: [captured.num, captured.den] }],
    });
  attributes.push(...statedByHand(facts, new Map(attributes.map((one) => [one.name, one]))));
  return { attributes, left: [...(stated?.left ?? [])] };
}

/** What has a field of its own in an outcome; one value in all frames. */
export interface TakenApart {
  readonly captured: string | null;
  readonly iso: number | null;
  readonly exposureSeconds: number | null;
  readonly whiteKelvin: number | null;
  readonly camera: string | null;
  readonly model: string | null;
  readonly serial: string | null;
  readonly owner: string | null;
  readonly comments: string | null;
}

export interface Carrying {
  readonly apart: TakenApart;
  readonly carried: ClipAttribute[];
  readonly left: LeftOut[];
}

/** What the header of DPX has a field for, besides those of the outcome (SMPTE ST 268-1). */
const IN_DPX: ReadonlySet<string> = new Set(['shutterAngle', 'slate']);
const typesOfAces: ReadonlyMap<string, string> = new Map(Object.entries(acesOptional));
/** Types that can be a line of text (the ACES container has places for the names of its standard alone). */
const AS_TEXT: ReadonlySet<string> = new Set(
  'double float int rational string v2f v2i v3f v3i m33f m44f'.split(' '),
);

const isLine = ({ type, values }: ClipAttribute): boolean =>
  AS_TEXT.has(type) && values.every(({ value }) => typeof value !== 'string' || !/[\r\n]/.test(value));

/** `ours`: owner and comments of the profile or the settings, which go before those of the source. */
export function carriedOf(
  facts: ClipFacts,
  format: FrameFormat,
  ours: {
    readonly owner: string | null;
    readonly comments: string | null;
    readonly captured: Rate | null;
  },
): Carrying {
  const { attributes, left } = statedOf(facts, ours.captured);
  const open = new Map(attributes.map((attribute) => [attribute.name, attribute]));
  const take = (name: string): ClipAttribute['values'][number]['value'] => {
    const values = open.get(name)?.values ?? [];
    if (values.length !== 1 || values[0]?.frame !== 0) return null;
    open.delete(name);
    return values[0].value;
  };
  const text = (name: string): string | null => {
    const value = open.get(name)?.type === 'string' ? take(name) : null;
    return typeof value === 'string' ? value : null;
  };
  const number = (name: string): number | null => {
    const value =
      open.get(name)?.type === 'float' && open.get(name)?.values[0]?.value !== 'infinity' ? take(name) : null;
    return typeof value === 'number' ? value : null;
  };
  for (const name of ['owner', 'comments'] as const)
    if (ours[name] !== null && open.delete(name)) left.push({ name, why: 'the settings say another' });
  const model = open.get('cameraModel')?.values[0]?.value ?? null;
  const apart = {
    captured: /^\d{4}:\d\d:\d\d \d\d:\d\d:\d\d$/.test(String(open.get('capDate')?.values[0]?.value ?? ''))
      ? text('capDate')
      : null,
    iso: number('isoSpeed'),
    exposureSeconds: number('expTime'),
    whiteKelvin: facts.raw === undefined ? number('cameraCCTSetting') : null,
    camera: text('cameraLabel'),
    model: typeof model === 'string' ? model : null,
    serial: text('cameraSerialNumber'),
    owner: text('owner'),
    comments: text('comments'),
  };
  const carried: ClipAttribute[] = [];
  for (const attribute of open.values()) {
    const { name, from } = attribute;
    if (format === 'dpx') {
      const ascii = attribute.values.every(
        ({ value }) => typeof value !== 'string' || /^[\x20-\x7e]{1,100}$/.test(value),
      );
      if (IN_DPX.has(name) && ascii) carried.push(attribute);
      else if (!from.startsWith(BY_HAND)) left.push({ name: from, why: 'DPX has no field for it' });
    } else if (format === 'aces') {
      const type = typesOfAces.get(name) ?? null;
      if (type !== null && type !== attribute.type)
        left.push({ name: from, why: `of type ${attribute.type}, which the ACES container has otherwise` });
      else if (name === 'nominalFocalLength' && !open.has('focalLength'))
        carried.push({ ...attribute, name: 'focalLength' });
      else if (type !== null || isLine(attribute)) carried.push(attribute);
      else left.push({ name: from, why: `the ACES container has no place for a ${attribute.type}` });
    } else carried.push(attribute);
  }
  if (format === 'dpx')
    for (const [name, value] of Object.entries({
      isoSpeed: apart.iso,
      expTime: apart.exposureSeconds,
      cameraCCTSetting: apart.whiteKelvin,
      comments: apart.comments,
    }))
      if (value !== null) left.push({ name, why: 'DPX has no field for it' });
  const byName = (a: { name: string }, b: { name: string }): number => (a.name < b.name ? -1 : 1);
  return { apart, carried: carried.sort(byName), left: left.sort(byName) };
}

/** What the user data of a movie has a text for (QuickTime File Format, "User Data Text Strings"). */
export interface MovieTexts {
  readonly make: string | null;
  readonly model: string | null;
  readonly date: string | null;
}

const PLAIN = /^[\x20-\x7e]{1,200}$/;

/** The same of a movie for grading: camera and date of a clip that states one, once for the clip; everything else is left. */
export function carriedInMovie(facts: ClipFacts): { readonly texts: MovieTexts; readonly left: LeftOut[] } {
  const { attributes, left } = statedOf(facts, null);
  const texts: Record<keyof MovieTexts, string | null> = { make: null, model: null, date: null };
  const keys: ReadonlyMap<string, 'make' | 'model' | 'date'> = new Map([
    ['cameraMake', 'make'],
    ['cameraModel', 'model'],
    ['capDate', 'date'],
  ]);
  const offset = attributes.find(({ name }) => name === 'utcOffset')?.values;
  for (const { name, from, values } of attributes) {
    const key = keys.get(name);
    const value = values[0]?.value;
    if (
      from.startsWith(BY_HAND) ||
      (name === 'utcOffset' && attributes.some((one) => one.name === 'capDate'))
    )
      continue;
    if (key === undefined) left.push({ name: from, why: 'a movie for grading has no place for it' });
    else if (typeof value !== 'string' || values[0]?.frame !== 0)
      left.push({ name: from, why: 'not said from the first frame on' });
    else if (key !== 'date' && values.length > 1)
      left.push({ name: from, why: 'changes within the clip, and a movie says it once' });
    else {
      const ahead = offset?.[0]?.frame === 0 ? offset[0].value : null;
      const text = key === 'date' ? isoDate(value, typeof ahead === 'number' ? -ahead : null) : value;
      if (text !== null && PLAIN.test(text)) texts[key] = text;
      else left.push({ name: from, why: key === 'date' ? 'no date' : 'not plain ASCII' });
    }
  }
  return { texts, left: left.sort((a, b) => (a.name < b.name ? -1 : 1)) };
}

/** Of the first frame. */
function isoDate(exr: string, ahead: number | null): string | null {
  const match = /^(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)$/.exec(exr);
  return match === null
    ? null
    : `${match[1]}-${match[2]}-${match[3]}T${match[4]}${ahead === null ? '' : offsetText(ahead)}`;
}
