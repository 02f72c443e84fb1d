/** What a coordinator counts of its nights, in the text exposition format of Prometheus (version 0.0.4). */
import { Counter, Gauge, Registry } from 'prom-client';
import { codeOf } from '../../files/error-code.ts';
import { readSeenMachines } from '../night/machines.ts';
import { defaultWorkFolder } from '../roll/folders.ts';
import { roomOn } from '../roll/space.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import type { NightsConfig } from './config.ts';
import type { News } from './news.ts';
import { settlings } from './settled.ts';
import { roles, type ShowStanding } from './stand.ts';

export interface Tally extends News {
  /** Of messages: how many wait, and what came of the others. */
  messages(counts: MessageCounts): void;
  text(): Promise<{ readonly type: string; readonly body: string }>;
}

export interface MessageCounts {
  readonly waiting: number;
  readonly sent: number;
  readonly failed: number;
  readonly dropped: number;
}

const machineStates = ['fit', 'set-aside', 'unfit'] as const;
const jobStates = ['waiting', 'working', 'over'] as const;

interface Made {
  /** Of nights that are over. */
  frames: number;
  bytes: number;
  now: RunProgress | null;
}

export function newTally({ shows }: NightsConfig, standings: readonly ShowStanding[]): Tally {
  const registry = new Registry();
  const gauge = <Label extends string>(name: string, help: string, labelNames: Label[]): Gauge<Label> =>
    new Gauge({ name: `rushlight_${name}`, help, labelNames, registers: [registry] });
  const counter = <Label extends string>(name: string, help: string, labelNames: Label[]): Counter<Label> =>
    new Counter({ name: `rushlight_${name}_total`, help, labelNames, registers: [registry] });

  const role = gauge('coordinator_role', '1 for how this coordinator stands with the delivery of the show', [
    'show',
    'role',
  ]);
  const looked = gauge('look_age_seconds', 'Seconds since the folders of the show were last looked at', [
    'show',
  ]);
  const waiting = gauge('rolls_waiting', 'Rolls that no night has taken yet', ['show', 'state']);
  const jobs = gauge('jobs', 'Clips of the running night', ['show', 'state']);
  const speed = gauge('frames_per_second', 'Frames that all workers make in a second, over half a minute', [
    'show',
  ]);
  const free = gauge('delivery_free_bytes', 'Room on the delivery', ['show']);
  const machines = gauge('machines', 'Machines of the farm, as the running night or the last one saw them', [
    'show',
    'state',
  ]);
  const unsent = gauge('messages_waiting', 'Messages that are still to be sent', []);
  const frames = counter('frames_made', 'Frames made', ['show']);
  const bytes = counter('bytes_read', 'Bytes read of copies to verify them', ['show']);
  const rolls = counter('rolls_decided', 'Verdicts on rolls', ['show', 'verdict']);
  const nights = counter('nights', 'Nights that came to their end; refused: those that could not begin', [
    'show',
    'verdict',
  ]);
  const findings = counter('findings', 'Findings of nights and rolls, by code', ['show', 'code']);
  const late = counter('rolls_late', 'Rolls that were not ready at their hour, or will not be', ['show']);
  const lost = counter('machines_lost', 'Machines of the farm that fell silent', ['show']);
  const messages = counter('messages', 'Messages by what came of them', ['result']);

  const made = new Map<string, Made>(shows.map(({ name }) => [name, { frames: 0, bytes: 0, now: null }]));
  const of = (show: string): Made => made.get(show) as Made;
  // A series that is there from the beginning has a rate at its first step.
  for (const { name } of shows) {
    for (const verdict of ['ready', 'held']) rolls.inc({ show: name, verdict }, 0);
    late.inc({ show: name }, 0);
    lost.inc({ show: name }, 0);
  }
  const endNight = (show: string): void => {
    const one = of(show);
    const sums = sumsOf(one.now);
    one.frames += sums.frames;
    one.bytes += sums.bytes;
    one.now = null;
  };

  const collect = async (): Promise<void> => {
    for (const gauges of [waiting, jobs, speed, free, machines, looked]) gauges.reset();
    frames.reset();
    bytes.reset();
    for (const { show, role: own, lookedAt, atWork } of standings) {
      for (const one of roles) role.set({ show, role: one }, one === own ? 1 : 0);
      if (lookedAt !== null) looked.set({ show }, (performance.now() - lookedAt) / 1_000);
      const rest = atWork?.waiting() ?? [];
      for (const state of settlings)
        waiting.set({ show, state }, rest.filter(({ settling }) => settling === state).length);
      const { now, ...before } = of(show);
      const sums = sumsOf(now);
      frames.inc({ show }, before.frames + sums.frames);
      bytes.inc({ show }, before.bytes + sums.bytes);
      for (const state of jobStates) jobs.set({ show, state }, sums.jobs[state]);
      speed.set({ show }, now?.rate() ?? 0);
    }
    for (const { name: show, deliver } of shows) {
      try {
        free.set({ show }, (await roomOn(deliver)).freeBytes);
      } catch (error) {
        // Not there: it has no value.
        if (codeOf(error) === '') throw error;
      }
      const seen = await readSeenMachines(defaultWorkFolder(deliver));
      for (const state of machineStates)
        machines.set({ show, state }, seen.filter(({ standing }) => standing === state).length);
    }
  };

  return {
    began: ({ show }, runProgress) => {
      endNight(show);
      of(show).now = runProgress;
    },
    decided: ({ show }, { verdict, findings: found }) => {
      rolls.inc({ show, verdict });
      for (const { code } of found) findings.inc({ show, code });
    },
    ended: ({ show }, { verdict, findings: found }) => {
      endNight(show);
      nights.inc({ show, verdict });
      for (const { code } of found) findings.inc({ show, code });
    },
    refused: ({ show }, found) => {
      endNight(show);
      nights.inc({ show, verdict: 'refused' });
      for (const { code } of found) findings.inc({ show, code });
    },
    late: ({ show }) => late.inc({ show }),
    noted: ({ show }, { code }) => {
      if (code === 'machine-lost') lost.inc({ show });
    },
    messages: ({ waiting: left, sent, failed, dropped }) => {
      unsent.set(left);
      messages.reset();
      messages.inc({ result: 'sent' }, sent);
      messages.inc({ result: 'failed' }, failed);
      messages.inc({ result: 'dropped' }, dropped);
    },
    text: async () => {
      await collect();
      return { type: registry.contentType, body: await registry.metrics() };
    },
  };
}

function sumsOf(now: RunProgress | null) {
  const rolls = now?.rolls() ?? [];
  const sum = (of: (roll: (typeof rolls)[number]) => number): number =>
    rolls.reduce((total, roll) => total + of(roll), 0);
  const [all, over, working] = [
    sum(({ jobs }) => jobs),
    sum(({ jobsOver }) => jobsOver),
    now?.working().length ?? 0,
  ];
  return {
    frames: sum(({ framesMade }) => framesMade),
    bytes: sum(({ bytesRead }) => bytesRead),
    jobs: { over, working, waiting: Math.max(0, all - over - working) },
  };
}
