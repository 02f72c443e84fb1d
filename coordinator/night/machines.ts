/** The machines of the farm, as a run sees them: who is fit for its jobs, who is not and why; told once, and kept for `status`. */
import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { type Finding, finding, findingSchema } from '../../findings/finding.ts';
import { type MachineRecord, standings } from '../../ledger/farm.ts';
import { shareOf } from '../../ledger/shares.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { standingFindings } from '../machine/standing.ts';

const seenSchema = z.object({
  machine: z.string(),
  host: z.string(),
  workers: z.int().nonnegative(),
  /** Other runs that it does jobs of, and what part of it comes to this one while they are there: above 0, to 1. */
  others: z.int().nonnegative(),
  share: z.number().positive().max(1),
  standing: z.enum(standings),
  findings: z.array(findingSchema),
});
export type SeenMachine = z.infer<typeof seenSchema>;
const fileSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('machines'),
  run: z.string(),
  machines: z.array(seenSchema),
});

const place = (workFolder: string): string => join(workFolder, 'machines.json');

/** Of the run at work there, or of the last one; none where it had no other machines. */
export async function readSeenMachines(workFolder: string): Promise<SeenMachine[]> {
  const read = await readRecord(place(workFolder), fileSchema);
  return read.state === 'read' ? read.value.machines : [];
}

export interface Machines {
  look(): Promise<void>;
  /** Ids of machines that do jobs of this queue, now or when they are asked again. */
  fitFor(queue: string): string[];
  /** Jobs of this queue that run side by side. */
  slotsFor(queue: string): number;
  /** Worker processes of these; null: not known yet. */
  workersFor(queues: readonly string[]): number | null;
  /** Machines that do jobs of the run, how many each at a time, and the queues whose jobs it cannot do. */
  making(): {
    readonly id: string;
    readonly slots: number;
    readonly unfit: ReadonlySet<string>;
    /** As of a seen machine. */
    readonly share: number;
  }[];
  /** Other runs that machines do jobs of which do jobs of this one. */
  others(): number;
  /** Why machines that are there take nothing. */
  troubles(): Finding[];
}

export interface MachinesRequest {
  readonly run: string;
  readonly workFolder: string;
  records(): Promise<readonly MachineRecord[]>;
  note(found: Finding): void;
  /** Milliseconds of a monotonic clock; absent: the process's. */
  readonly now?: () => number;
}

/** After its record ran out. A Redis that forgot everything is told again within twenty seconds (machine/prover.ts). */
const ABSENT_MILLISECONDS = 25_000;

export async function watchMachines({
  run,
  workFolder,
  records,
  note,
  now = () => performance.now(),
}: MachinesRequest): Promise<Machines> {
  await rm(place(workFolder), { force: true });
  let known: readonly MachineRecord[] | null = null;
  /** Of every machine that was here, what it said last. */
  const seen = new Map<string, SeenMachine>();
  const noted = new Set<string>();
  /** Machines that are not there, since when; that it was told is kept as infinity. */
  const absent = new Map<string, number>();
  const tellLost = (records: readonly MachineRecord[]): void => {
    for (const { machine, host } of seen.values()) {
      const own = records.filter((record) => record.machine === machine);
      if (own.length > 0) {
        absent.delete(machine);
        if (own.every(({ left }) => left === true)) absent.set(machine, Number.POSITIVE_INFINITY);
        continue;
      }
      const since = absent.get(machine) ?? now();
      absent.set(machine, since);
      if (now() - since < ABSENT_MILLISECONDS) continue;
      absent.set(machine, Number.POSITIVE_INFINITY);
      note(finding('machine-lost', `${host}, for more than a minute`, 'a word every twenty seconds'));
    }
  };
  let written = '';
  return {
    async look() {
      known = await records();
      tellLost(known);
      for (const record of known) {
        const own = ofRun(record, run);
        if (own === null) continue;
        seen.set(record.machine, own);
        for (const found of standingFindings(own, own.host)) {
          // What a proof says differs from minute to minute in its numbers alone.
          const key = `${record.machine} ${found.code} ${found.found.split(':')[0]}`;
          if (!noted.has(key)) note(found);
          noted.add(key);
        }
      }
      const machines = [...seen.values()];
      const text = JSON.stringify(machines);
      if (text === written) return;
      await writeRecord(place(workFolder), fileSchema, { version: 0, kind: 'machines', run, machines });
      written = text;
    },
    fitFor: (queue) => [
      ...new Set((known ?? []).filter((record) => does(record, [queue])).map(({ machine }) => machine)),
    ],
    slotsFor: (queue) =>
      (known ?? []).filter((record) => does(record, [queue])).reduce((sum, { slots }) => sum + slots, 0),
    workersFor: (queues) =>
      known === null
        ? null
        : known.filter((record) => does(record, queues)).reduce((sum, { workers }) => sum + workers, 0),
    others: () => {
      const ours = (known ?? []).filter(({ classes }) =>
        classes.some((one) => one.run === run && one.standing !== 'unfit'),
      );
      return sharing(ours, run).others;
    },
    making: () => {
      const made = new Map<string, MachineRecord[]>();
      for (const record of known ?? [])
        if (record.classes.some((one) => one.run === run && one.standing !== 'unfit'))
          made.set(record.machine, [...(made.get(record.machine) ?? []), record]);
      return [...made].map(([id, records]) => ({
        id,
        slots: records.reduce((sum, { slots }) => sum + slots, 0),
        share: sharing(records, run).share,
        unfit: new Set(
          // What one of its starters does the machine does.
          records
            .flatMap(({ classes }) => classes.map(({ queue }) => queue))
            .filter((queue) => !records.some((record) => does(record, [queue]))),
        ),
      }));
    },
    troubles: () =>
      (known ?? []).flatMap((record) => {
        const own = ofRun(record, run);
        return own === null ? [] : standingFindings(own, own.host);
      }),
  };
}

function does({ classes }: MachineRecord, queues: readonly string[]): boolean {
  return classes.some(({ queue, standing }) => queues.includes(queue) && standing !== 'unfit');
}

/** Other runs whose jobs these take, and the part of their time that comes to this one while all have jobs. */
function sharing(
  records: readonly MachineRecord[],
  run: string,
): { readonly others: number; readonly share: number } {
  const fit = records.flatMap(({ classes }) => classes.filter(({ standing }) => standing === 'fit'));
  const weights = new Map(fit.map((one) => [one.run, one.weight]));
  const own = weights.get(run) ?? 1;
  weights.delete(run);
  return { others: weights.size, share: shareOf(own, [...weights.values()]) };
}

/** The worst of what it says of this run's jobs; null: nothing yet. */
function ofRun(record: MachineRecord, run: string): SeenMachine | null {
  const { machine, host, workers, classes } = record;
  const own = classes.filter((one) => one.run === run);
  const of = (wanted: (typeof standings)[number]) => own.find(({ standing }) => standing === wanted);
  const first = of('unfit') ?? of('set-aside') ?? of('fit');
  if (first === undefined) return null;
  return {
    ...{ machine, host, workers, ...sharing([record], run) },
    ...{ standing: first.standing, findings: first.findings },
  };
}
