/**
 * The objects of OpenTimelineIO that we write, each with the fields that its documentation lists (otio-serialized-schema.md of the project; `color`
 * of items is left out, which readers of older versions do not know). Versions are those that release 0.15 and newer read. Pure.
 */
import type { Rate } from '../../media/time/rate.ts';
import type { Json } from './json.ts';

/** The one key of every `metadata` that is ours. */
export const NAMESPACE = 'rushlight';

type Fields = { readonly [name: string]: Json | undefined };
const metadataOf = (ours: Fields | undefined): Json => (ours === undefined ? {} : { [NAMESPACE]: ours });

/** Rates are doubles in this format; 24000/1001 is the double that is nearest to it, as the library itself writes it. */
const rateOf = ({ num, den }: Rate): number => num / den;

export const rationalTime = (value: number, rate: Rate): Json => ({
  OTIO_SCHEMA: 'RationalTime.1',
  rate: rateOf(rate),
  value,
});

export const timeRange = (start: number, frames: number, rate: Rate): Json => ({
  OTIO_SCHEMA: 'TimeRange.1',
  start_time: rationalTime(start, rate),
  duration: rationalTime(frames, rate),
});

export interface ReferenceParts {
  readonly name: string;
  readonly metadata?: Fields;
  readonly range: Json;
}

const reference = (schema: string, { name, metadata, range }: ReferenceParts): Fields => ({
  OTIO_SCHEMA: schema,
  name,
  metadata: metadataOf(metadata),
  available_range: range,
  available_image_bounds: null,
});

export const externalReference = (parts: ReferenceParts, url: string): Json => ({
  ...reference('ExternalReference.1', parts),
  target_url: url,
});

export const missingReference = (parts: ReferenceParts): Json => reference('MissingReference.1', parts);

export interface SequenceParts {
  /** Ends with `/`. */
  readonly base: string;
  readonly prefix: string;
  readonly suffix: string;
  readonly first: number;
  readonly digits: number;
  readonly rate: Rate;
}

export const imageSequence = (
  parts: ReferenceParts,
  { base, prefix, suffix, first, digits, rate }: SequenceParts,
): Json => ({
  ...reference('ImageSequenceReference.1', parts),
  target_url_base: base,
  name_prefix: prefix,
  name_suffix: suffix,
  start_frame: first,
  frame_step: 1,
  rate: rateOf(rate),
  frame_zero_padding: digits,
  missing_frame_policy: 'error',
});

interface ItemParts {
  readonly name: string;
  readonly metadata?: Fields | undefined;
  /** Absent: all that is available. */
  readonly range?: Json;
}

const item = (schema: string, { name, metadata, range = null }: ItemParts): Fields => ({
  OTIO_SCHEMA: schema,
  name,
  metadata: metadataOf(metadata),
  source_range: range,
  effects: [],
  markers: [],
  enabled: true,
});

export const clip = (parts: ItemParts, references: Fields, active: string): Json => ({
  ...item('Clip.2', parts),
  media_references: references,
  active_media_reference_key: active,
});

export const gap = (frames: number, rate: Rate): Json =>
  item('Gap.1', { name: '', range: timeRange(0, frames, rate) });

export const track = (parts: ItemParts, kind: 'Video' | 'Audio', children: Iterable<Json>): Json => ({
  ...item('Track.1', parts),
  kind,
  children,
});

export const stack = (parts: ItemParts, children: Iterable<Json>): Json => ({
  ...item('Stack.1', parts),
  children,
});

export const collection = (name: string, metadata: Fields | undefined, children: Iterable<Json>): Json => ({
  OTIO_SCHEMA: 'SerializableCollection.1',
  name,
  metadata: metadataOf(metadata),
  children,
});

export const timeline = (name: string, metadata: Fields, tracks: Json): Json => ({
  OTIO_SCHEMA: 'Timeline.1',
  name,
  metadata: metadataOf(metadata),
  global_start_time: null,
  tracks,
});
