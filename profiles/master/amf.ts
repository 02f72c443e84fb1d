/**
 * What the ACES Metadata File beside a master says (S-2019-001, version 2), decided from facts and profile alone. What is baked
 * into the frames is `applied`; what a reader of the frames has still to do is not. Frames that hold ACES2065-1 went through the input
 * transform of their camera. Frames in ACEScct have the way back to ACES2065-1 before them, and what was done before is an archived
 * pipeline. CDL, look and output transform are steps of a pipeline behind its input.
 */
import { z } from 'zod';
import { URL_NAMESPACE, uuid5 } from '../../files/uuid.ts';
import { aheadOfUtc, offsetText } from '../../media/time/zone.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import { canonicalJson } from '../hash.ts';
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
});
export type AmfOutcome = z.infer<typeof amfSchema>;
export type AmfPipeline = z.infer<typeof pipelineSchema>;

const ID = 'urn:ampas:aces:transformId:v2.0:';
/**
 * Of the registry of ACES (aces-aswf/aces, transforms.json, v2.0.0+2025.04.04): transforms that go the same way to ACES2065-1 as the
 * input of this name. That of LogC3 is published with the exposure index 800 as what is taken when nobody says.
 */
const REGISTERED: Readonly<Record<string, string>> = {
  'aces2065-1': 'CSC.Academy.Unity.a2.v1',
  acescg: 'CSC.Academy.ACEScg_to_ACES.a2.v1',
  acescct: 'CSC.Academy.ACEScct_to_ACES.a2.v1',
  acescc: 'CSC.Academy.ACEScc_to_ACES.a2.v1',
  acesproxy10: 'CSC.Academy.ACESproxy10i_to_ACES.a2.v1',
  acesproxy12: 'CSC.Academy.ACESproxy12i_to_ACES.a2.v1',
  adx10: 'CSC.Academy.ADX10_to_ACES.a2.v1',
  adx16: 'CSC.Academy.ADX16_to_ACES.a2.v1',
  'slog3-sgamut3cine': 'CSC.Sony.SLog3_SGamut3Cine_to_ACES.a2.v1',
  'slog3-sgamut3': 'CSC.Sony.SLog3_SGamut3_to_ACES.a2.v1',
  'logc3-awg3': 'CSC.Arri.LogC3_to_ACES.a2.v1',
  'logc4-awg4': 'CSC.Arri.LogC4_to_ACES.a2.v1',
  'vlog-vgamut': 'CSC.Panasonic.VLog_VGamut_to_ACES.a2.v1',
  'log3g10-rwg': 'CSC.Red.Log3G10_RWG_to_ACES.a2.v1',
};
const REGISTERED_INDEX = 800;

/** Identifier of the registry; null: it has none that does the same. */
export function registeredId(input: InputTransform): string | null {
  if (!('name' in input)) return null;
  if (input.name === 'logc3-awg3' && input.ei !== REGISTERED_INDEX) return null;
  const id = REGISTERED[input.name];
  return id === undefined ? null : `${ID}${id}`;
}

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
  /** Whatever else makes this deliverable another one than that of another profile. */
  readonly of: unknown;
}

export function amfOf(request: AmfRequest): AmfOutcome {
  const { stem, clipName, contentDigest, linearisation, holds, inputClf, of } = request;
  const createdAt = withOffset(request);
  const id = linearisation.kind === 'coded' ? registeredId(linearisation.input) : null;
  const uuid = (what: string): string =>
    uuid5(
      NAMESPACE,
      canonicalJson({ what, contentDigest, linearisation: written(linearisation), holds, of: written(of) }),
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
    ...(holds === 'aces2065-1'
      ? { pipeline: done, archived: null }
      : {
          pipeline: {
            uuid: uuid('working'),
            input: { by: { kind: 'id', id: `${ID}${REGISTERED.acescct}` }, applied: false },
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
