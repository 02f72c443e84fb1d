/**
 * What the ACES Metadata File beside a master says (S-2019-001, version 2), decided from facts and profile alone. What is baked
 * into the frames is `applied`; what a reader of the frames has still to do is not. Frames that hold ACES2065-1 went through the input
 * transform of their camera. Frames in ACEScct have the way back to ACES2065-1 before them, and what was done before is an archived
 * pipeline. Looks and output transform of the settings are behind the input, and none of them is applied (amf-looks.ts).
 */
import { z } from 'zod';
import { URL_NAMESPACE, uuid5 } from '../../files/uuid.ts';
import { aheadOfUtc, offsetText } from '../../media/time/zone.ts';
import type { ColourWay } from '../../media/colour/way.ts';
import { canonicalJson } from '../hash.ts';
import { amfLookSchema, amfLooksOf, amfOutputSchema } from './amf-looks.ts';
import { idOfAcescct, registeredId } from './amf-registry.ts';
import type { Linearisation } from './linearisation.ts';
import type { InputClfRule } from './schema.ts';

const transformSchema = z.object({
  by: z
    .discriminatedUnion('kind', [
      z.object({ kind: z.literal('id'), id: z.string() }),
      z.object({ kind: z.literal('clf') }),
    ])
    .describe('Its identifier in the registry of ACES, or the Common LUT Format file beside the frames'),
  applied: z.boolean().describe('Whether the frames have gone through it'),
});
const pipelineSchema = z.object({
  uuid: z.string().describe('By the content of the clip and the decision: the same in every night'),
  input: transformSchema,
});
export const amfSchema = z.object({
  file: z.string().describe('Its name, beside the frames or the movie'),
  clf: z
    .string()
    .nullable()
    .describe('Name of the Common LUT Format file of the input transform, beside it; null: there is none'),
  clipName: z.string().describe('Name of the clip'),
  created: z.string().describe('ISO 8601: when the clip was recorded'),
  isCreatedStated: z.boolean().describe('Whether the source says so; false: the beginning of 1970'),
  uuid: z.string().describe('Of the file'),
  pipeline: pipelineSchema.describe('From the frames as they lie there to ACES2065-1'),
  archived: pipelineSchema.nullable().describe('What was done before; null: nothing besides'),
  looks: z.array(amfLookSchema).describe('Look transforms, in the order in which they are applied'),
  output: amfOutputSchema
    .nullable()
    .describe('Output transform; null: none, or the settings say nothing of looks'),
});
export type AmfOutcome = z.infer<typeof amfSchema>;
export type AmfPipeline = z.infer<typeof pipelineSchema>;

const ISO = /^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:\.\d+)?(?:Z|[+-]\d{2}:\d{2})?$/;
/** A date is asked for, and a date of tonight would make another file of the same clip tomorrow. */
const UNKNOWN = '1970-01-01T00:00:00Z';

const NAMESPACE = uuid5(URL_NAMESPACE, 'urn:ampas:aces:amf:v2.0');

export interface AmfRequest {
  readonly stem: string;
  readonly clipName: string;
  readonly contentDigest: string;
  readonly createdAt: string | null;
  /** Of the show: for a date without an offset. */
  readonly timeZone: string | undefined;
  readonly linearisation: Linearisation;
  /** Whether the frames hold ACES2065-1 or ACEScct. */
  readonly holds: 'aces2065-1' | 'acescct';
  readonly inputClf: InputClfRule;
  /** How its pictures are to look; undefined: nobody says. */
  readonly way: ColourWay | undefined;
  /** Whatever else makes this deliverable another one than that of another profile. */
  readonly of: unknown;
}

export function amfOf(request: AmfRequest): AmfOutcome {
  const { stem, clipName, contentDigest, linearisation, holds, inputClf, way, of } = request;
  const createdAt = withOffset(request);
  const id = linearisation.kind === 'coded' ? registeredId(linearisation.input) : null;
  const uuid = (what: string): string =>
    uuid5(
      NAMESPACE,
      canonicalJson({
        what,
        contentDigest,
        linearisation: written(linearisation),
        holds,
        ...(way === undefined ? {} : { way: written(way) }),
        of: written(of),
      }),
    );
  const done: AmfPipeline = {
    uuid: uuid('input'),
    input: { by: id === null ? { kind: 'clf' } : { kind: 'id', id }, applied: true },
  };
  const isStated = createdAt !== null && ISO.test(createdAt) && !Number.isNaN(Date.parse(createdAt));
  return {
    file: `${stem}.amf`,
    clf: id === null || inputClf === 'always' ? `${stem}.clf` : null,
    clipName,
    created: isStated ? createdAt : UNKNOWN,
    isCreatedStated: isStated,
    uuid: uuid('file'),
    ...(way === undefined ? { looks: [], output: null } : amfLooksOf(way)),
    ...(holds === 'aces2065-1'
      ? { pipeline: done, archived: null }
      : {
          pipeline: {
            uuid: uuid('working'),
            input: { by: { kind: 'id', id: idOfAcescct }, applied: false },
          },
          archived: done,
        }),
  };
}

/** A date without an offset is that of the show's time zone, where that is known. */
function withOffset({ createdAt, timeZone }: Pick<AmfRequest, 'createdAt' | 'timeZone'>): string | null {
  if (createdAt === null || timeZone === undefined || /(?:Z|[+-]\d{2}:\d{2})$/.test(createdAt))
    return createdAt;
  const ahead = aheadOfUtc(createdAt, timeZone);
  return ahead === null ? createdAt : `${createdAt}${offsetText(ahead)}`;
}

/** As it is written down: what is absent is not there. */
const written = (value: unknown): unknown => JSON.parse(JSON.stringify(value));

/** Names of the files beside a movie, in the order in which they are published: what the metadata name comes before them. */
export const sidecarNames = ({ file, clf }: AmfOutcome): string[] => [...(clf === null ? [] : [clf]), file];

/** Names that another decision would have given to files beside this movie. */
export function unwantedSidecars({ file, clf }: AmfOutcome): string[] {
  return clf === null ? [file.replace(/\.amf$/, '.clf')] : [];
}
