/**
 * Every form of file and message that somebody else may read or write, with a name: what docs/records.md and docs/schemas/ are
 * made from. The forms themselves are where they are used; `parts` are those that occur in several.
 */
import { z } from 'zod';
import { findingSchema } from '../../findings/finding.ts';
import { dayMadeSchema } from '../../handover/consistency/made.ts';
import { nightRecordSchema } from '../../handover/night.ts';
import { clipSchema } from '../../ledger/clip.ts';
import { pullRecordSchema } from '../pull/form.ts';
import { pagesPredicateSchema } from '../../handover/pages-statement.ts';
import { handoverPredicateSchema } from '../../handover/statement.ts';
import { predicateSchema } from '../../ledger/provenance/predicate.ts';
import { jobProgressSchema } from '../../ledger/queue.ts';
import { checkResultSchema, clipReportSchema, deliverableReportSchema } from '../../ledger/report.ts';
import { manifestReadSchema, rollVerdictSchema } from '../../ledger/roll.ts';
import { stillsReportSchema } from '../../ledger/stills-report.ts';
import { toolchainSchema } from '../../ledger/toolchain.ts';
import { colourTagsSchema } from '../../media/colour/tags.ts';
import { colourWaySchema, wayLookSchema } from '../../media/colour/way.ts';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { declarationSchema, declaredDecoderSchema } from '../../media/declaration.ts';
import { audioFactsSchema, clipFactsSchema, videoFactsSchema } from '../../media/facts.ts';
import { interpretationSchema } from '../../media/interpretation.ts';
import { rawFactsSchema } from '../../media/raw-facts.ts';
import { ratioSchema, timecodeSchema } from '../../media/time/schema.ts';
import { amfSchema } from '../../profiles/master/amf.ts';
import { linearisationSchema } from '../../profiles/master/linearisation.ts';
import { masterOutcomeSchema } from '../../profiles/master/outcome.ts';
import { masterSchema } from '../../profiles/master/schema.ts';
import { outcomeSchema } from '../../profiles/outcome.ts';
import { profileSchema } from '../../profiles/schema.ts';
import { speedsSchema } from '../forecast/keep.ts';
import { messageSchema } from '../messages/message.ts';
import { messagesFileSchema } from '../messages/schema.ts';
import { nightsSchema } from '../nights/schema.ts';
import { takenSchema } from '../nights/taken.ts';
import { settingsSchema } from '../settings/schema.ts';

export interface RecordForm {
  /** Name of its schema file, without ending. */
  readonly name: string;
  readonly title: string;
  /** Where it is found, and who writes it. */
  readonly where: string;
  /** JSON Schema, draft 2020-12. */
  readonly schema: JsonSchema;
}
export type JsonSchema = { readonly [key: string]: unknown };

const parts: Readonly<Record<string, z.ZodType>> = {
  finding: findingSchema,
  clip: clipSchema,
  toolchain: toolchainSchema,
  'manifest-read': manifestReadSchema,
  'check-result': checkResultSchema,
  'deliverable-report': deliverableReportSchema,
  'clip-facts': clipFactsSchema,
  'video-facts': videoFactsSchema,
  'audio-facts': audioFactsSchema,
  'raw-facts': rawFactsSchema,
  'colour-tags': colourTagsSchema,
  'input-transform': inputTransformSchema,
  interpretation: interpretationSchema,
  'colour-way': colourWaySchema,
  'way-look': wayLookSchema,
  'aces-metadata': amfSchema,
  'decoder-declaration': declarationSchema,
  'movie-outcome': outcomeSchema,
  'frames-outcome': masterOutcomeSchema,
  linearisation: linearisationSchema,
  ratio: ratioSchema,
  timecode: timecodeSchema,
};

/** Once for the process: names by which a schema refers to a part rather than repeat it. */
let named = false;
function nameParts(): void {
  if (named) return;
  named = true;
  for (const [id, part] of Object.entries(parts))
    z.globalRegistry.add(part, { ...z.globalRegistry.get(part), id });
}

function written(schema: z.ZodType, io: 'input' | 'output'): JsonSchema {
  nameParts();
  return z.toJSONSchema(schema, { io }) as JsonSchema;
}

type Node = Record<string, unknown>;

/** Of files that settings name, the program itself finds the digest: nobody writes it, and no editor is to ask for it. */
function withoutDigests(schema: JsonSchema): JsonSchema {
  const visit = (value: unknown): unknown => {
    if (Array.isArray(value)) return value.map(visit);
    if (typeof value !== 'object' || value === null) return value;
    return Object.fromEntries(
      Object.entries(value as Node)
        .filter(([key]) => key !== 'sha256')
        .map(([key, child]) => [
          key,
          key === 'required' && Array.isArray(child)
            ? child.filter((name) => name !== 'sha256')
            : visit(child),
        ]),
    );
  };
  return visit(schema) as JsonSchema;
}

/** A field may be left out below the top, since a profile may take it over; the program asks for more than its schema can say. */
function withoutRequired(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(withoutRequired);
  if (typeof value !== 'object' || value === null) return value;
  const node = value as Node;
  return Object.fromEntries(
    Object.entries(node)
      .filter(([key, child]) => !(key === 'required' && Array.isArray(child)))
      // With fields left out, more than one kind may fit.
      .map(([key, child]) => [key === 'oneOf' ? 'anyOf' : key, withoutRequired(child)]),
  );
}

/** Every field where nothing is taken over; with `extends` the three that are never taken over. */
function profileFile(schema: z.ZodType): JsonSchema {
  const whole = written(schema, 'input') as Node;
  const loose = withoutRequired(whole) as Node;
  return {
    ...loose,
    properties: {
      ...(loose.properties as Node),
      extends: {
        type: 'string',
        description: 'Takes over the profile of this name; what this file states counts instead of it',
      },
    },
    required: ['version', 'name', 'summary'],
    if: { not: { required: ['extends'] } },
    // biome-ignore lint/suspicious/noThenProperty: a keyword of JSON Schema, and no promise.
    then: { required: whole.required },
  };
}

export function recordForms(): readonly RecordForm[] {
  return [
    {
      name: 'roll',
      title: 'roll.json',
      where: '`<delivery>/<day>/<roll>/roll.json`. The verdict on a roll, written by the run',
      schema: written(rollVerdictSchema, 'output'),
    },
    {
      name: 'clip-report',
      title: 'reports/<clip>.json',
      where:
        '`<delivery>/<day>/<roll>/reports/<clip>.json`. All that is known of a clip, written by the run from the reports of its deliverables',
      schema: written(clipReportSchema, 'output'),
    },
    {
      name: 'deliverable-report',
      title: 'reports/deliverables/<clip>.<profile>.json',
      where: '`<delivery>/<day>/<roll>/reports/deliverables/`. Written by the worker that made it',
      schema: written(deliverableReportSchema, 'output'),
    },
    {
      name: 'stills-report',
      title: 'reports/stills/<clip>.json',
      where: '`<delivery>/<day>/<roll>/reports/stills/`. Written by the worker that made the stills',
      schema: written(stillsReportSchema, 'output'),
    },
    {
      name: 'pull',
      title: 'pull.json',
      where:
        '`<delivery>/<day>.pull-<cut>-<digest>/pull.json`. What a pull was made for and what its cut led to, written by the run before anything is made; [pull.md](pull.md)',
      schema: written(pullRecordSchema, 'output'),
    },
    {
      name: 'night',
      title: 'handover/night.json',
      where:
        '`<delivery>/<day>/handover/night.json`. What a run says of its night, written by the run at its beginning and at its end',
      schema: written(nightRecordSchema, 'output'),
    },
    {
      name: 'made',
      title: 'handover/made.json',
      where:
        '`<delivery>/<day>/handover/made.json`. How the deliverables of the day were made, by which days are compared; written with the pages, from the reports',
      schema: written(dayMadeSchema, 'output'),
    },
    {
      name: 'statement-predicate',
      title: 'statement.json, its predicate',
      where:
        '`predicate` in `<delivery>/<day>/<roll>/statement.json`, an in-toto Statement (https://in-toto.io/Statement/v1). Its subjects are the outputs of the roll by digest',
      schema: written(predicateSchema, 'output'),
    },
    {
      name: 'handover-predicate',
      title: 'handover/statement.json, its predicate',
      where:
        '`predicate` in `<delivery>/<day>/handover/statement.json`, an in-toto Statement. Its subjects are the files of the handover by digest; [handover.md](handover.md)',
      schema: written(handoverPredicateSchema, 'output'),
    },
    {
      name: 'pages-predicate',
      title: 'pages.json and show.json, their predicate',
      where:
        '`predicate` in `<delivery>/<day>/handover/pages.json` and `<delivery>/show.json`, in-toto Statements. Their subjects are pages and contact sheets by digest; [morning-page.md](morning-page.md)',
      schema: written(pagesPredicateSchema, 'output'),
    },
    {
      name: 'speeds',
      title: 'speeds.json',
      where:
        'In the state folder of a machine (`$XDG_STATE_HOME/rushlight`). What its runs have learned of how long jobs take; [forecasts](mechanisms/forecast.md)',
      schema: written(speedsSchema, 'output'),
    },
    {
      name: 'job-progress',
      title: 'Progress of a job',
      where: 'What a worker reports to the queue while it works, at most once in two seconds',
      schema: written(jobProgressSchema, 'output'),
    },
    {
      name: 'settings',
      title: 'Settings file',
      where: 'Written by you; [settings.md](settings.md)',
      schema: withoutDigests(written(settingsSchema, 'input')),
    },
    {
      name: 'coordinator',
      title: 'File of a standing coordinator',
      where: 'Written by you; [coordinator.md](coordinator.md)',
      schema: written(nightsSchema, 'input'),
    },
    {
      name: 'messages',
      title: 'File of messages',
      where: 'Written by you; [messages.md](messages.md)',
      schema: written(messagesFileSchema, 'input'),
    },
    {
      name: 'message',
      title: 'Message to a program',
      where: 'Posted to a webhook; [messages.md](messages.md)',
      schema: written(messageSchema, 'output'),
    },
    {
      name: 'taken',
      title: '.rushlight-taken.json',
      where: 'At the top of a delivery that a standing coordinator has; [coordinator.md](coordinator.md)',
      schema: written(takenSchema, 'output'),
    },
    {
      name: 'profile-movie',
      title: 'Profile file, movies',
      where: 'Written by you; [profiles.md](profiles.md)',
      schema: profileFile(profileSchema),
    },
    {
      name: 'profile-master',
      title: 'Profile file, masters',
      where: 'Written by you; [profiles.md](profiles.md)',
      schema: profileFile(masterSchema),
    },
    {
      name: 'decoder',
      title: 'Decoder declaration',
      where: 'Written by you; [decoders.md](decoders.md)',
      schema: written(declaredDecoderSchema, 'input'),
    },
  ];
}
