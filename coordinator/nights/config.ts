/** Reads the file of a standing coordinator: everything that is wrong with it at once, with lines. Paths in it are as seen from the file. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { dirname, join, resolve } from 'node:path';
import { stateFolder } from '../../files/machine-id.ts';
import { findingAt, type Path, readDocument } from '../../files/document.ts';
import { type Finding, FindingError } from '../../findings/finding.ts';
import type { z } from 'zod';
import { receiversFrom } from '../messages/read.ts';
import type { Receivers } from '../messages/schema.ts';
import { parseServeAddress, type ServeAddress } from '../../serve/address.ts';
import { type NightsFile, nightsSchema, type ShowFile, type takes } from './schema.ts';

export interface DayOfShow {
  readonly by: string | null;
  readonly weight: number;
  readonly first: readonly string[];
}

export interface Show {
  readonly name: string;
  readonly watch: readonly string[];
  readonly deliver: string;
  readonly copies: readonly string[];
  readonly manifests: readonly string[];
  readonly profiles: readonly string[];
  readonly settings: string | null;
  readonly stills: number | null;
  readonly take: (typeof takes)[number];
  dayOf(day: string): DayOfShow;
}

export interface NightsConfig {
  readonly origin: string;
  readonly shows: readonly Show[];
  readonly settledMilliseconds: number;
  readonly incompleteMilliseconds: number;
  readonly lookMilliseconds: number;
  readonly readAgainMilliseconds: number;
  readonly work: string;
  readonly listen: ServeAddress;
  readonly listenNames: readonly string[];
  readonly tokenFile: string | null;
  readonly workers: number | null;
  readonly slots: number | null;
  readonly messages: Receivers;
}

export const DEFAULT_LISTEN = '127.0.0.1:4651';
const SECOND = 1_000;
const MINUTE = 60 * SECOND;
const HOUR = 60 * MINUTE;

/** Throws FindingError (exit 2). */
export async function readNights(path: string): Promise<NightsConfig> {
  const origin = resolve(path);
  const codes = {
    missing: 'coordinator-file-unreadable',
    unreadable: 'coordinator-file-unreadable',
    form: 'a file as docs/coordinator.md shows it',
  } as const;
  const read = await readDocument(origin, codes, origin);
  if ('findings' in read) throw new FindingError(read.findings, 2);
  const { document } = read;
  const at = (where: Path) => ({ origin, line: document.lineOf(where), field: where.join('.') });
  const parsed = nightsSchema.safeParse(document.values);
  if (!parsed.success)
    throw new FindingError(
      parsed.error.issues.map((issue) => fromIssue(issue, at)),
      2,
    );
  const wrong = oneOfEach(parsed.data, at);
  if (wrong.length > 0) throw new FindingError(wrong, 2);
  return configOf(parsed.data, origin);
}

type Locate = (where: Path) => Parameters<typeof findingAt>[1];

function fromIssue(issue: z.core.$ZodIssue, at: Locate): Finding {
  const path = issue.path as Path;
  return issue.code === 'unrecognized_keys'
    ? findingAt(
        'coordinator-value-wrong',
        at([...path, issue.keys[0] ?? '']),
        `no field ${issue.keys.join(', ')}`,
        'fields that docs/coordinator.md names',
      )
    : findingAt('coordinator-value-wrong', at(path), issue.message, 'a value that docs/coordinator.md names');
}

/** Two shows with one name would be one in metrics; with one delivery they would wait for each other for ever. */
function oneOfEach({ shows }: NightsFile, at: Locate): Finding[] {
  const fields = ['name', 'deliver'] as const;
  return shows.flatMap((show, index) =>
    fields
      .filter((field) => shows.findIndex((other) => other[field] === show[field]) !== index)
      .map((field) =>
        findingAt(
          'coordinator-value-wrong',
          at(['shows', index, field]),
          `${show[field]}, for the second time`,
          'one of its own',
        ),
      ),
  );
}

function configOf(file: NightsFile, origin: string): NightsConfig {
  const from = (path: string): string => resolve(dirname(origin), path);
  return {
    origin,
    shows: file.shows.map((show) => showOf(show, from)),
    settledMilliseconds: (file.settled_seconds ?? 120) * SECOND,
    incompleteMilliseconds: (file.incomplete_minutes ?? 60) * MINUTE,
    lookMilliseconds: (file.look_seconds ?? 10) * SECOND,
    readAgainMilliseconds: (file.read_again_hours ?? 24) * HOUR,
    work: file.work === undefined ? join(stateFolder(), 'coordinator') : from(file.work),
    listen: parseServeAddress(file.listen ?? DEFAULT_LISTEN) as ServeAddress,
    listenNames: file.listen_names ?? [],
    tokenFile: file.listen_token_file === undefined ? null : from(file.listen_token_file),
    workers: file.workers ?? null,
    slots: file.slots ?? null,
    messages: receiversFrom(file.messages ?? {}, from),
  };
}

function showOf(show: ShowFile, from: (path: string) => string): Show {
  return {
    name: show.name,
    watch: show.watch.map(from),
    deliver: from(show.deliver),
    copies: (show.copies ?? []).map(from),
    manifests: (show.manifests ?? []).map(from),
    profiles: (show.profiles ?? []).map((name) => (/\.ya?ml$/i.test(name) ? from(name) : name)),
    settings: show.settings === undefined ? null : from(show.settings),
    stills: show.stills ?? null,
    take: show.take ?? 'rolls',
    dayOf(day) {
      const own = Object.hasOwn(show.days ?? {}, day) ? show.days?.[day] : undefined;
      return {
        by: own?.by ?? show.by ?? null,
        weight: own?.weight ?? show.weight ?? 1,
        first: own?.first ?? [],
      };
    },
  };
}

/** What is asked of a roll besides its bytes: another settings file or another profile, and the roll is taken again. */
export async function askedOf({ profiles, settings, stills }: Show): Promise<string> {
  const hash = createHash('sha256').update(JSON.stringify([profiles, stills]));
  for (const file of [
    ...(settings === null ? [] : [settings]),
    ...profiles.filter((one) => /\.ya?ml$/i.test(one)),
  ])
    hash.update(await readFile(file).catch((error: unknown) => String(error)));
  return hash.digest('hex');
}
