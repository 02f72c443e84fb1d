/** What a frame says of itself in its header, by the names of OpenEXR's standard attributes (openexr.com, "Standard attributes"). */
import type { Rate } from '../../time/rate.ts';
import type { Timecode } from '../../time/timecode.ts';
import { type Chromaticities, type ExrAttribute, exrAttribute } from './attribute.ts';
import { packTimecode } from '../timecode.ts';

/** Absent means not known, and then the attribute is not written. */
export interface ExrAttributes {
  readonly chromaticities: Chromaticities;
  /** Width of a pixel over its height; 1 when absent. */
  readonly pixelAspect?: number;
  /** Above 60 frames a second ST 12-1 has no address: then only imageCounter counts. */
  readonly timecode?: Timecode;
  readonly framesPerSecond?: Rate;
  /** What the camera ran at. */
  readonly captureRate?: Rate;
  /** Number of the frame, exact at every rate. */
  readonly imageCounter?: number;
  readonly reelName?: string;
  /** Local time, `YYYY:MM:DD hh:mm:ss`. */
  readonly capDate?: string;
  /** Seconds to add to local time for UTC. */
  readonly utcOffset?: number;
  readonly isoSpeed?: number;
  /** Seconds. */
  readonly expTime?: number;
  /** x, y of the colour that is neutral. */
  readonly adoptedNeutral?: readonly [number, number];
  /** Candela per square metre of (1, 1, 1). */
  readonly whiteLuminance?: number;
  /** Kelvin. */
  readonly cameraCCTSetting?: number;
  readonly cameraTintSetting?: number;
  readonly owner?: string;
  readonly comments?: string;
  readonly cameraLabel?: string;
  readonly cameraMake?: string;
  readonly cameraModel?: string;
  readonly cameraSerialNumber?: string;
  /** Further texts by name: source file, source frame, development. */
  readonly free?: Readonly<Record<string, string>>;
  /** What the source states besides; none has the name of another. */
  readonly carried?: readonly ExrAttribute[];
}

const DATE = /^\d{4}:\d{2}:\d{2} \d{2}:\d{2}:\d{2}$/;
const floatNames = [
  'utcOffset',
  'isoSpeed',
  'expTime',
  'whiteLuminance',
  'cameraCCTSetting',
  'cameraTintSetting',
] as const;
const textNames = [
  'reelName',
  'capDate',
  'owner',
  'comments',
  'cameraLabel',
  'cameraMake',
  'cameraModel',
  'cameraSerialNumber',
] as const;
const rateNames = ['framesPerSecond', 'captureRate'] as const;
/** Names that mean something by the format or are written from other fields. */
const taken: ReadonlySet<string> = new Set([
  ...floatNames,
  ...textNames,
  ...rateNames,
  'chromaticities',
  'timeCode',
  'timecodeRate',
  'imageCounter',
  'adoptedNeutral',
  'pixelAspectRatio',
  'channels',
  'compression',
  'dwaCompressionLevel',
  'dataWindow',
  'displayWindow',
  'lineOrder',
  'screenWindowCenter',
  'screenWindowWidth',
  'acesImageContainerFlag',
  'imageChecksum',
  'headerChecksum',
  'name',
  'type',
  'version',
  'chunkCount',
  'tiles',
  'view',
  'multiView',
  'envmap',
  'preview',
]);

/** Throws RangeError for a value that its attribute cannot hold, a date of another form, a free name that is taken. */
export function frameAttributes(frame: ExrAttributes): ExrAttribute[] {
  const list = [
    exrAttribute('chromaticities', 'chromaticities', frame.chromaticities),
    exrAttribute('pixelAspectRatio', 'float', frame.pixelAspect ?? 1),
  ];
  if (frame.capDate !== undefined && !DATE.test(frame.capDate))
    throw new RangeError(`capDate: ${JSON.stringify(frame.capDate)} is not YYYY:MM:DD hh:mm:ss`);
  for (const name of floatNames)
    if (frame[name] !== undefined) list.push(exrAttribute(name, 'float', frame[name]));
  for (const name of textNames)
    if (frame[name] !== undefined) list.push(exrAttribute(name, 'string', frame[name]));
  for (const name of rateNames)
    if (frame[name] !== undefined) list.push(exrAttribute(name, 'rational', frame[name]));
  if (frame.imageCounter !== undefined) list.push(exrAttribute('imageCounter', 'int', frame.imageCounter));
  if (frame.adoptedNeutral !== undefined)
    list.push(exrAttribute('adoptedNeutral', 'v2f', frame.adoptedNeutral));
  const words = frame.timecode === undefined ? null : packTimecode(frame.timecode);
  if (words !== null) list.push(exrAttribute('timeCode', 'timecode', words));
  for (const [name, text] of Object.entries(frame.free ?? {})) {
    if (taken.has(name)) throw new RangeError(`${name} is no free name of an attribute`);
    list.push(exrAttribute(name, 'string', text));
  }
  list.push(...(frame.carried ?? []));
  return list;
}
