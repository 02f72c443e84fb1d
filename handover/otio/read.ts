/**
 * Reads OpenTimelineIO documents, ours and those of others, by the published list of schemas and fields. Older versions of a schema are brought to the
 * one that is read here; schemas that are not known are kept as they are and mean nothing. Pure.
 */
import { z } from 'zod';

export class OtioError extends Error {
  constructor(what: string) {
    super(what);
    this.name = 'OtioError';
  }
}

const metadata = z
  .record(z.string(), z.unknown())
  .nullish()
  .transform((value) => value ?? {});
const name = z
  .string()
  .nullish()
  .transform((value) => value ?? '');

export const timeSchema = z.object({
  OTIO_SCHEMA: z.literal('RationalTime.1'),
  rate: z.number().positive(),
  value: z.number(),
});
export const rangeSchema = z.object({
  OTIO_SCHEMA: z.literal('TimeRange.1'),
  start_time: timeSchema,
  duration: timeSchema,
});
export type OtioTime = z.infer<typeof timeSchema>;
export type OtioRange = z.infer<typeof rangeSchema>;

const referenceFields = {
  name,
  metadata,
  available_range: rangeSchema.nullish().transform((value) => value ?? null),
};
const referenceSchema = z.discriminatedUnion('OTIO_SCHEMA', [
  z.object({ OTIO_SCHEMA: z.literal('ExternalReference.1'), ...referenceFields, target_url: z.string() }),
  z.object({ OTIO_SCHEMA: z.literal('MissingReference.1'), ...referenceFields }),
  z.object({ OTIO_SCHEMA: z.literal('GeneratorReference.1'), ...referenceFields }),
  z.object({
    OTIO_SCHEMA: z.literal('ImageSequenceReference.1'),
    ...referenceFields,
    target_url_base: z.string(),
    name_prefix: z.string(),
    name_suffix: z.string(),
    start_frame: z.int(),
    frame_step: z.int().positive(),
    rate: z.number().positive(),
    frame_zero_padding: z.int().nonnegative(),
    missing_frame_policy: z.enum(['error', 'hold', 'black']),
  }),
]);
export type OtioReference = z.infer<typeof referenceSchema>;

/** What changes an item: its schema, and of one of time how many seconds of it go by in one (null: nobody says). */
export interface OtioEffect {
  readonly schema: string;
  readonly scalar: number | null;
}

export interface OtioClip {
  readonly kind: 'clip';
  readonly name: string;
  readonly metadata: Readonly<Record<string, unknown>>;
  /** null: all that is available. */
  readonly range: OtioRange | null;
  readonly enabled: boolean;
  readonly effects: readonly OtioEffect[];
  readonly references: ReadonlyMap<string, OtioReference>;
  readonly active: string;
}

export interface OtioParent {
  readonly kind: 'collection' | 'timeline' | 'stack' | 'track';
  readonly name: string;
  readonly metadata: Readonly<Record<string, unknown>>;
  readonly range: OtioRange | null;
  readonly enabled: boolean;
  readonly effects: readonly OtioEffect[];
  /** Of a track: Video, Audio. */
  readonly trackKind: string | null;
  readonly children: readonly OtioItem[];
}

/** Between two items of a track, in which it takes no time of its own: how long it begins before the cut, and lasts behind it. */
export interface OtioTransition {
  readonly kind: 'transition';
  readonly before: OtioTime;
  readonly behind: OtioTime;
}

export type OtioItem =
  | OtioClip
  | OtioParent
  | { readonly kind: 'gap'; readonly range: OtioRange | null }
  | OtioTransition
  | { readonly kind: 'other'; readonly schema: string };

const itemFields = {
  name,
  metadata,
  source_range: rangeSchema.nullish().transform((value) => value ?? null),
  enabled: z.boolean().default(true),
  effects: z
    .array(z.unknown())
    .nullish()
    .transform((value) => value ?? []),
};
const warpSchema = z.object({ time_scalar: z.number() });
const transitionSchema = z.object({ in_offset: timeSchema, out_offset: timeSchema });
const clipSchema = z.object({
  ...itemFields,
  media_references: z.record(z.string().min(1), z.unknown()),
  active_media_reference_key: z.string().default('DEFAULT_MEDIA'),
});
const parentSchema = z.object({
  ...itemFields,
  kind: z.string().optional(),
  children: z.array(z.unknown()),
});
const timelineSchema = z.object({ name, metadata, tracks: z.unknown() });

const wrong = (where: string, error: z.ZodError): OtioError => {
  const [issue] = error.issues;
  return new OtioError(`${where}: ${issue?.path.join('.') ?? ''} ${issue?.message ?? 'wrong form'}`);
};

function parsed<Schema extends z.ZodType>(schema: Schema, value: unknown, where: string): z.output<Schema> {
  const result = schema.safeParse(value);
  if (!result.success) throw wrong(where, result.error);
  return result.data;
}

const schemaOf = (value: unknown, where: string): string => {
  const schema = (value as { OTIO_SCHEMA?: unknown } | null)?.OTIO_SCHEMA;
  if (typeof schema !== 'string' || !/^[A-Za-z][A-Za-z0-9_]*\.\d+$/.test(schema))
    throw new OtioError(`${where}: no object with an OTIO_SCHEMA`);
  return schema;
};

/** `Clip.1` had one reference without a name. */
function upgraded(value: unknown): unknown {
  const { media_reference: reference, ...rest } = value as Record<string, unknown>;
  return {
    ...rest,
    media_references: { DEFAULT_MEDIA: reference ?? { OTIO_SCHEMA: 'MissingReference.1' } },
    active_media_reference_key: 'DEFAULT_MEDIA',
  };
}

function effectsOf(effects: readonly unknown[], where: string): OtioEffect[] {
  return effects.map((effect, at) => {
    const place = `${where}, effect ${at}`;
    const schema = schemaOf(effect, place);
    return {
      schema,
      scalar: schema === 'LinearTimeWarp.1' ? parsed(warpSchema, effect, place).time_scalar : null,
    };
  });
}

function clipOf(value: unknown, where: string): OtioClip {
  const read = parsed(clipSchema, value, where);
  const references = new Map<string, OtioReference>();
  for (const [key, reference] of Object.entries(read.media_references)) {
    const known = referenceSchema.options.some(
      ({ shape }) => shape.OTIO_SCHEMA.value === schemaOf(reference, `${where}, ${key}`),
    );
    if (known) references.set(key, parsed(referenceSchema, reference, `${where}, ${key}`));
  }
  return {
    kind: 'clip',
    name: read.name,
    metadata: read.metadata,
    range: read.source_range,
    enabled: read.enabled,
    effects: effectsOf(read.effects, where),
    references,
    active: read.active_media_reference_key,
  };
}

const PARENTS = {
  'SerializableCollection.1': 'collection',
  'Stack.1': 'stack',
  'Track.1': 'track',
  // What tracks were called before version 0.7 of the library; its own sample files still have it.
  'Sequence.1': 'track',
} as const;

/** Nested deeper than any edit is: a document that is made to exhaust the reader. */
const DEEPEST = 200;

function itemOf(value: unknown, where: string, depth: number): OtioItem {
  if (depth > DEEPEST) throw new OtioError(`${where}: nested more than ${DEEPEST} deep`);
  const schema = schemaOf(value, where);
  if (schema === 'Clip.2') return clipOf(value, where);
  if (schema === 'Clip.1') return clipOf(upgraded(value), where);
  if (schema === 'Gap.1') {
    const { source_range: range } = parsed(z.object(itemFields), value, where);
    return { kind: 'gap', range };
  }
  if (schema === 'Timeline.1') {
    const read = parsed(timelineSchema, value, where);
    const children = [itemOf(read.tracks, `${where}, tracks`, depth + 1)];
    return {
      kind: 'timeline',
      name: read.name,
      metadata: read.metadata,
      range: null,
      enabled: true,
      effects: [],
      trackKind: null,
      children,
    };
  }
  if (schema === 'Transition.1') {
    const { in_offset: before, out_offset: behind } = parsed(transitionSchema, value, where);
    return { kind: 'transition', before, behind };
  }
  const kind = PARENTS[schema as keyof typeof PARENTS];
  if (kind === undefined) return { kind: 'other', schema };
  const read = parsed(parentSchema, value, where);
  return {
    kind,
    name: read.name,
    metadata: read.metadata,
    range: read.source_range,
    enabled: read.enabled,
    effects: effectsOf(read.effects, where),
    trackKind: read.kind ?? null,
    children: read.children.map((child, at) => itemOf(child, `${where}, ${at}`, depth + 1)),
  };
}

/** Throws OtioError, also for text that is no JSON. */
export function readOtio(text: string): OtioItem {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (error) {
    throw new OtioError(`not JSON: ${(error as Error).message}`);
  }
  return itemOf(value, 'the document', 0);
}

/** Every clip below, in order. */
export function* clipsOf(item: OtioItem): Generator<OtioClip> {
  if (item.kind === 'clip') yield item;
  else if ('children' in item) for (const child of item.children) yield* clipsOf(child);
}
