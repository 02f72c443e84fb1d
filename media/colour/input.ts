/**
 * The input transform of a source: from the R'G'B' code values that were recorded (0 to 1 of full scale, and beyond) to
 * scene-linear AP0 (SMPTE ST 2065-1). It is named, or given by parameters, or by a file; nothing chooses one silently.
 */
import { createHash } from 'node:crypto';
import { z } from 'zod';
import { FindingError, finding } from '../../findings/finding.ts';
import type { ColourTags } from './tags.ts';
import { adxTransform } from './adx.ts';
import { colourFileSteps } from './file.ts';
import { type CurveName, type Logc3Index, type PublishedCurve, curveNames, logc3Indices } from './curves.ts';
import { type Gamut, type GamutName, adaptations, gamutNames, gamuts, toAp0 } from './gamuts.ts';
import { invert } from './matrix.ts';
import {
  type ColourTransform,
  type LogParameters,
  type Step,
  curveStep,
  interpolations,
  matrixStep,
} from './steps.ts';

interface NamedInput {
  readonly curve: CurveName;
  readonly gamut: GamutName;
}
/** Densities of film: no curve and gamut (adx.ts). */
type AdxName = 'adx10' | 'adx16';
const isAdx = (name: InputName): name is AdxName => name === 'adx10' || name === 'adx16';

/** In the order in which people are shown them. `bt709` and `bt2020` undo the camera's curve; `bt1886` ones take the display's light for the scene's. */
export const inputNames = [
  'aces2065-1',
  'acescg',
  'acescct',
  'acescc',
  'acesproxy10',
  'acesproxy12',
  'slog2-sgamut',
  'slog3-sgamut3cine',
  'slog3-sgamut3',
  'logc3-awg3',
  'logc4-awg4',
  'vlog-vgamut',
  'log3g10-rwg',
  'redlogfilm-rwg',
  'flog-fgamut',
  'flog2-fgamut',
  'nlog-ngamut',
  'dlog-dgamut',
  'adx10',
  'adx16',
  'bt709',
  'bt2020',
  'bt1886-bt709',
  'bt1886-bt2020',
  'srgb',
  'pq-bt2020',
  'pq-p3d65',
  'hlg-bt2020',
  'linear-bt709',
  'linear-bt2020',
  'linear-p3d65',
] as const;
export type InputName = (typeof inputNames)[number];

const NAMED: Readonly<Record<Exclude<InputName, AdxName>, NamedInput>> = {
  'aces2065-1': { curve: 'linear', gamut: 'ap0' },
  acescg: { curve: 'linear', gamut: 'ap1' },
  acescct: { curve: 'acescct', gamut: 'ap1' },
  acescc: { curve: 'acescc', gamut: 'ap1' },
  acesproxy10: { curve: 'acesproxy10', gamut: 'ap1' },
  acesproxy12: { curve: 'acesproxy12', gamut: 'ap1' },
  // S-Gamut has the primaries of S-Gamut3.
  'slog2-sgamut': { curve: 'slog2', gamut: 'sgamut3' },
  'slog3-sgamut3cine': { curve: 'slog3', gamut: 'sgamut3cine' },
  'slog3-sgamut3': { curve: 'slog3', gamut: 'sgamut3' },
  'logc3-awg3': { curve: 'logc3', gamut: 'awg3' },
  'logc4-awg4': { curve: 'logc4', gamut: 'awg4' },
  'vlog-vgamut': { curve: 'vlog', gamut: 'vgamut' },
  'log3g10-rwg': { curve: 'log3g10', gamut: 'rwg' },
  // REDLogFilm is the printing density of Cineon.
  'redlogfilm-rwg': { curve: 'cineon', gamut: 'rwg' },
  // Both papers take the primaries of BT.2020 under a name of their own.
  'flog-fgamut': { curve: 'flog', gamut: 'bt2020' },
  'flog2-fgamut': { curve: 'flog2', gamut: 'bt2020' },
  'nlog-ngamut': { curve: 'nlog', gamut: 'bt2020' },
  'dlog-dgamut': { curve: 'dlog', gamut: 'dgamut' },
  bt709: { curve: 'bt709', gamut: 'bt709' },
  bt2020: { curve: 'bt709', gamut: 'bt2020' },
  'bt1886-bt709': { curve: 'bt1886', gamut: 'bt709' },
  'bt1886-bt2020': { curve: 'bt1886', gamut: 'bt2020' },
  srgb: { curve: 'srgb', gamut: 'bt709' },
  'pq-bt2020': { curve: 'pq', gamut: 'bt2020' },
  'pq-p3d65': { curve: 'pq', gamut: 'p3d65' },
  'hlg-bt2020': { curve: 'hlg', gamut: 'bt2020' },
  'linear-bt709': { curve: 'linear', gamut: 'bt709' },
  'linear-bt2020': { curve: 'linear', gamut: 'bt2020' },
  'linear-p3d65': { curve: 'linear', gamut: 'p3d65' },
};

/** cd/m² that become 1.0 where nothing else is said: as in OpenColorIO's display transforms. */
export const DEFAULT_NITS_OF_ONE = 100;
/** HLG signal that becomes 1.0 where nothing else is said: the reference white of ITU-R BT.2408, with which a grey card at 38 % becomes 0.18. */
export const DEFAULT_SIGNAL_OF_ONE = 0.75;

const finite = z.number().refine(Number.isFinite, 'must be finite');
const settings = {
  /** Exposure index of the camera; `logc3` cannot be known without it. */
  ei: z.literal(logc3Indices).optional(),
  /** With a `pq` curve: the cd/m² that become 1.0. */
  nits_of_one: z.number().positive().max(10000).optional(),
  /** With the `hlg` curve: the signal that becomes 1.0. */
  signal_of_one: z.number().positive().max(1).optional(),
};

const usesSetting = (curve: CurveName): Record<keyof typeof settings, boolean> => ({
  ei: curve === 'logc3',
  nits_of_one: curve === 'pq',
  signal_of_one: curve === 'hlg',
});

function refuseSettings(
  curve: CurveName,
  given: { ei?: unknown; nits_of_one?: unknown; signal_of_one?: unknown },
  context: z.RefinementCtx,
): void {
  const uses = usesSetting(curve);
  if (uses.ei && given.ei === undefined)
    context.addIssue({
      code: 'custom',
      path: ['ei'],
      message: `logc3 needs the exposure index of the camera: one of ${logc3Indices.join(', ')}`,
    });
  for (const name of ['ei', 'nits_of_one', 'signal_of_one'] as const)
    if (!uses[name] && given[name] !== undefined)
      context.addIssue({ code: 'custom', path: [name], message: `the curve ${curve} does not have it` });
}

const chromaticitySchema = z.tuple([finite, finite]);

export const namedInputSchema = z
  .strictObject({ name: z.enum(inputNames), ...settings })
  .superRefine((input, context) =>
    refuseSettings(isAdx(input.name) ? 'linear' : NAMED[input.name].curve, input, context),
  );
/** A published curve with a published gamut in another pairing than the named ones. */
export const pairedInputSchema = z
  .strictObject({
    curve: z.enum(curveNames),
    gamut: z.enum(gamutNames),
    adaptation: z.enum(adaptations).optional(),
    ...settings,
  })
  .superRefine((input, context) => refuseSettings(input.curve, input, context));
/** `log`: parameters by the names of the Common LUT Format's `cameraLogToLin` (without `linSideBreak`: `logToLin`), with its defaults. */
export const parameterInputSchema = z
  .strictObject({
    log: z.strictObject({
      base: z
        .number()
        .positive()
        .refine((base) => base !== 1, 'no logarithm has the base 1')
        .default(2),
      logSideSlope: finite.refine((slope) => slope !== 0, 'must not be 0').default(1),
      logSideOffset: finite.default(0),
      linSideSlope: finite.refine((slope) => slope !== 0, 'must not be 0').default(1),
      linSideOffset: finite.default(0),
      linSideBreak: finite.optional(),
      linearSlope: finite.refine((slope) => slope !== 0, 'must not be 0').optional(),
    }),
    primaries: z.strictObject({
      red: chromaticitySchema,
      green: chromaticitySchema,
      blue: chromaticitySchema,
    }),
    white: chromaticitySchema,
    adaptation: z.enum(adaptations),
  })
  .superRefine(({ log, primaries, white }, context) => {
    if (log.linSideBreak === undefined && log.linearSlope !== undefined)
      context.addIssue({
        code: 'custom',
        path: ['log', 'linearSlope'],
        message: 'a straight part needs linSideBreak, where it begins',
      });
    if (log.linSideBreak !== undefined && log.linSideSlope * log.linSideBreak + log.linSideOffset <= 0)
      context.addIssue({
        code: 'custom',
        path: ['log', 'linSideBreak'],
        message: 'there is no logarithm at this value',
      });
    const area =
      (primaries.green[0] - primaries.red[0]) * (primaries.blue[1] - primaries.red[1]) -
      (primaries.blue[0] - primaries.red[0]) * (primaries.green[1] - primaries.red[1]);
    if (Math.abs(area) < 1e-6)
      context.addIssue({
        code: 'custom',
        path: ['primaries'],
        message: 'red, green and blue lie on one line',
      });
    if (white[1] <= 0)
      context.addIssue({ code: 'custom', path: ['white'], message: 'y of a white is greater than 0' });
  });

/** Spaces that a file can end in; from there a named transform goes on. Without those that need a setting. */
export const givenNames = inputNames.filter(
  (name): name is Exclude<InputName, 'logc3-awg3'> => name !== 'logc3-awg3',
) as [Exclude<InputName, 'logc3-awg3'>, ...Exclude<InputName, 'logc3-awg3'>[]];
export const fileInputSchema = z
  .strictObject({
    /** Its name, without folders; the ending says which format it is. */
    file: z.string().regex(/\.(?:cube|clf)$/i, 'must be a .cube or a .clf file'),
    sha256: z.string().regex(/^[0-9a-f]{64}$/, 'must be 64 lower-case hex digits'),
    /** The space of what comes out of the file. */
    gives: z.enum(givenNames),
    /** Between the places of a 3D table of a .cube file, whose format says nothing of it. Absent: trilinear, or what a .clf file says. */
    interpolation: z.enum(interpolations).optional(),
  })
  .refine(({ file, interpolation }) => interpolation === undefined || /\.cube$/i.test(file), {
    path: ['interpolation'],
    message: 'a .clf file says itself how it is read between its places',
  });

export const inputTransformSchema = z.union([
  namedInputSchema,
  pairedInputSchema,
  parameterInputSchema,
  fileInputSchema,
]);
export type InputTransform = z.infer<typeof inputTransformSchema>;

function published(
  name: CurveName,
  given: {
    readonly ei?: Logc3Index | undefined;
    readonly nits_of_one?: number | undefined;
    readonly signal_of_one?: number | undefined;
  },
): PublishedCurve {
  switch (name) {
    case 'logc3':
      if (given.ei === undefined) throw new RangeError('logc3 without its exposure index');
      return { name, ei: given.ei };
    case 'pq':
      return { name, nits_of_one: given.nits_of_one ?? DEFAULT_NITS_OF_ONE };
    case 'hlg':
      return { name, signal_of_one: given.signal_of_one ?? DEFAULT_SIGNAL_OF_ONE };
    default:
      return { name };
  }
}

function stepsOfPair(curve: PublishedCurve, gamut: Gamut): Step[] {
  const steps: Step[] =
    curve.name === 'linear' ? [] : [curveStep({ form: 'published', curve, direction: 'decode' })];
  if (gamut !== gamuts.ap0) steps.push(matrixStep(toAp0(gamut)));
  return steps;
}

/**
 * The steps to linear AP0. `file`: the bytes of the file, or its whole text, when the transform is one. Throws FindingError
 * (`colour-file-changed`, `colour-file-refused`), and RangeError when a file is asked for and not given.
 */
export function transformOf(input: InputTransform, file?: Buffer | string): ColourTransform {
  if ('name' in input) {
    if (isAdx(input.name)) return adxTransform(input.name);
    const { curve, gamut } = NAMED[input.name];
    return { steps: stepsOfPair(published(curve, input), gamuts[gamut]) };
  }
  if ('curve' in input) {
    const gamut = gamuts[input.gamut];
    return {
      steps: stepsOfPair(
        published(input.curve, input),
        input.adaptation === undefined || input.adaptation === gamut.adaptation
          ? gamut
          : { ...gamut, adaptation: input.adaptation },
      ),
    };
  }
  if ('log' in input) {
    const parameters: LogParameters = {
      ...input.log,
      linSideBreak: input.log.linSideBreak ?? null,
      linearSlope: input.log.linearSlope ?? null,
    };
    const gamut: Gamut = { ...input.primaries, white: input.white, adaptation: input.adaptation };
    return { steps: [curveStep({ form: 'log', parameters, direction: 'toLin' }), matrixStep(toAp0(gamut))] };
  }
  if (file === undefined) throw new RangeError(`the bytes of ${input.file} are needed`);
  const bytes = Buffer.from(file);
  const sha256 = createHash('sha256').update(bytes).digest('hex');
  if (sha256 !== input.sha256)
    throw new FindingError(
      [finding('colour-file-changed', `SHA-256 ${sha256}`, `SHA-256 ${input.sha256}`, { file: input.file })],
      2,
    );
  return {
    steps: [
      ...colourFileSteps(input.file, bytes, input.interpolation),
      ...transformOf({ name: input.gives }).steps,
    ],
  };
}

/** From linear AP0 to the values of a named space: `transformOf` the other way round. Throws RangeError for densities of film. */
export function transformTo(input: z.infer<typeof namedInputSchema>): ColourTransform {
  if (isAdx(input.name)) throw new RangeError(`${input.name} is a space of film, to which nothing goes back`);
  const { curve, gamut } = NAMED[input.name];
  const steps: Step[] = gamut === 'ap0' ? [] : [matrixStep(invert(toAp0(gamuts[gamut])))];
  if (curve !== 'linear')
    steps.push(curveStep({ form: 'published', curve: published(curve, input), direction: 'encode' }));
  return { steps };
}

/** What a curve is known exactly by, with what is taken where nothing is said. */
export function curveSettings(input: InputTransform): Readonly<Record<string, number>> {
  if ('file' in input || 'log' in input) return {};
  const curve = 'curve' in input ? input.curve : isAdx(input.name) ? 'linear' : NAMED[input.name].curve;
  const { name: _, ...settings } = published(curve, input);
  return settings;
}

/** Primaries and white of what is recorded; null: densities of film have none, and a file names what comes out of it alone. */
export function gamutOfInput(input: InputTransform): Pick<Gamut, 'red' | 'green' | 'blue' | 'white'> | null {
  if ('name' in input) return isAdx(input.name) ? null : gamuts[NAMED[input.name].gamut];
  if ('curve' in input) return gamuts[input.gamut];
  return 'log' in input ? { ...input.primaries, white: input.white } : null;
}

/** Tags of one meaning only. The matrix may be untagged or RGB's; where it names another standard, the tags contradict each other. */
const BY_TAGS: readonly {
  readonly transfer: readonly string[];
  readonly primaries: string;
  readonly matrix: readonly (string | null)[];
  readonly name: InputName;
}[] = [
  { transfer: ['bt709'], primaries: 'bt709', matrix: ['bt709', 'rgb', null], name: 'bt709' },
  {
    transfer: ['srgb'],
    primaries: 'bt709',
    matrix: ['bt709', 'rgb', 'bt601', 'bt601-625', null],
    name: 'srgb',
  },
  {
    transfer: ['bt2020-10', 'bt2020-12'],
    primaries: 'bt2020',
    matrix: ['bt2020', 'rgb', null],
    name: 'bt2020',
  },
  { transfer: ['pq'], primaries: 'bt2020', matrix: ['bt2020', 'rgb', null], name: 'pq-bt2020' },
  {
    transfer: ['pq'],
    primaries: 'p3-d65',
    matrix: ['bt709', 'bt2020', 'rgb', null],
    name: 'pq-p3d65',
  },
  { transfer: ['hlg'], primaries: 'bt2020', matrix: ['bt2020', 'rgb', null], name: 'hlg-bt2020' },
];

/**
 * Logarithmic curves of ITU-T H.273 (Table 3, TransferCharacteristics 9 and 10): V = 1 + log10(L) / 2 down to L = 0.01, and V = 1 + log10(L) / 2.5 down to
 * the square root of 10 / 1000; all that is darker has code 0.
 */
const LOG_TAGS: Readonly<Record<string, number>> = { log100: 1 / 2, log316: 1 / 2.5 };
export const isLogTag = (transfer: string | null): boolean =>
  transfer !== null && Object.hasOwn(LOG_TAGS, transfer);
/** Primaries that go with a log tag, and the matrices. */
const LOG_PRIMARIES = [
  { primaries: 'bt709', gamut: 'bt709' },
  { primaries: 'bt2020', gamut: 'bt2020' },
  { primaries: 'p3-d65', gamut: 'p3d65' },
] as const;

function logOfTags({ primaries, transfer, matrix }: ColourTags): InputTransform | null {
  const logSideSlope = transfer === null ? undefined : LOG_TAGS[transfer];
  const found = LOG_PRIMARIES.find((one) => one.primaries === primaries);
  if (logSideSlope === undefined || found === undefined) return null;
  const matrices: readonly (string | null)[] =
    primaries === 'p3-d65' ? ['bt709', 'bt2020', 'rgb', null] : [primaries, 'rgb', null];
  if (!matrices.includes(matrix)) return null;
  const { white, adaptation, ...chromaticities } = gamuts[found.gamut];
  const pair = ([x, y]: readonly [number, number]): [number, number] => [x, y];
  return {
    log: { base: 10, logSideSlope, logSideOffset: 1, linSideSlope: 1, linSideOffset: 0 },
    primaries: {
      red: pair(chromaticities.red),
      green: pair(chromaticities.green),
      blue: pair(chromaticities.blue),
    },
    white: pair(white),
    adaptation,
  };
}

/** Which primaries leave no doubt beside the tag of a curve that is no display's of standard range; null: it is one, or no such curve. */
export function primariesBeside(transfer: string | null): readonly string[] | null {
  if (transfer === null) return null;
  if (isLogTag(transfer)) return LOG_PRIMARIES.map(({ primaries }) => primaries);
  const entries = transfer === 'pq' || transfer === 'hlg' ? BY_TAGS : [];
  const found = entries.filter((entry) => entry.transfer.includes(transfer));
  return found.length === 0 ? null : found.map(({ primaries }) => primaries);
}

/** The transform that a source's tags state, null when they are silent, of more than one meaning, or contradict each other. */
export function inputOfTags(tags: ColourTags): InputTransform | null {
  const { primaries, transfer, matrix } = tags;
  const found = BY_TAGS.find(
    (entry) =>
      transfer !== null &&
      entry.transfer.includes(transfer) &&
      entry.primaries === primaries &&
      entry.matrix.includes(matrix),
  );
  return found === undefined ? logOfTags(tags) : { name: found.name };
}

/** For people. */
export const inputName = (input: InputTransform): string =>
  'name' in input
    ? input.name
    : 'file' in input
      ? input.file
      : 'curve' in input
        ? `${input.curve}-${input.gamut}`
        : 'a log curve';
