/**
 * Keeps a view up to date while somebody reads it, and sends what changed. One look for all readers; none while there are no readers.
 * Every reader begins with the whole; changes are numbered, so that who missed one asks for the whole again.
 */
import type { ServerResponse } from 'node:http';
import { codeOf } from '../../files/error-code.ts';
import { eventOf, newStream } from '../../serve/stream.ts';
import type { Watched } from './look.ts';
import { nothingSeen, type Seen } from './seen.ts';
import { newsOf, viewOf } from './texts.ts';
import { changesOf, type View } from './view.ts';

const LOOK_MILLISECONDS = 2_000;
const PATIENCE_MILLISECONDS = 3_000;
/** A sign of life for readers of whom nothing changes; they miss it after more than two. */
const TICK_MILLISECONDS = 10_000;

export interface Feed {
  /** As things stand now. */
  view(): Promise<View>;
  still(version: string): Buffer | null;
  /** Folder of the delivery and day that are shown; null: none is known. */
  place(): { readonly delivery: string; readonly day: string } | null;
  /** False: there are too many readers. */
  add(response: ServerResponse, headers: Readonly<Record<string, string>>): Promise<boolean>;
  /** Looks once more, tells everybody, and lets them go. */
  end(): Promise<void>;
}

export interface FeedRequest {
  readonly watched: Watched;
  /** Whether the server outlives the run, so that it can give the morning page. */
  readonly serves: boolean;
  readonly lookMilliseconds?: number;
  /** How long a look may take before readers are told. */
  readonly patienceMilliseconds?: number;
}

export function newFeed({
  watched,
  serves,
  lookMilliseconds = LOOK_MILLISECONDS,
  patienceMilliseconds = PATIENCE_MILLISECONDS,
}: FeedRequest): Feed {
  const stream = newStream();
  let seen: Seen = nothingSeen;
  let news = '';
  let view = viewOf(seen, news, serves);
  let number = 0;
  let lookedAt = Number.NEGATIVE_INFINITY;
  let sentAt = 0;
  let askedAt = 0;
  let looking: Promise<void> | null = null;
  let isOver = false;

  const send = (name: string, value: object): void => {
    sentAt = performance.now();
    stream.send(eventOf(name, JSON.stringify(value)));
  };
  const show = (after: View): void => {
    const changes = changesOf(view, after);
    view = after;
    if (changes === null) return;
    number += 1;
    send('changes', { number, ...changes });
  };
  const lookNow = async (): Promise<void> => {
    const now = await watched.look();
    // The first look finds how things are, and no news.
    if (lookedAt > 0) news = newsOf(seen, now) || news;
    lookedAt = performance.now();
    seen = now;
    show(viewOf(seen, news, serves));
  };
  /** What cannot be read now may be read at the next look: what is shown stays, and says so. */
  const missed = (why: string): void =>
    show({
      ...view,
      texts: {
        ...view.texts,
        quiet: `What the run writes cannot be read (${why}). What is shown may be old.`,
      },
    });
  const look = (): Promise<void> => {
    if (looking !== null) return looking;
    askedAt = performance.now();
    looking = lookNow()
      .catch((error: unknown) => missed(codeOf(error) || String(error)))
      .finally(() => {
        looking = null;
      });
    return looking;
  };
  /** A drive that hangs keeps nobody waiting. */
  const withPatience = async (looked: Promise<void>): Promise<void> => {
    let timer: NodeJS.Timeout | undefined;
    const late = new Promise<void>((resolve) => {
      timer = setTimeout(resolve, patienceMilliseconds);
    });
    await Promise.race([looked, late]);
    clearTimeout(timer);
  };
  const lookUnlessFresh = async (): Promise<void> => {
    if (isOver || performance.now() - lookedAt < lookMilliseconds / 2) return;
    await withPatience(look());
    missedIfLate();
  };
  const missedIfLate = (): void => {
    if (looking !== null && performance.now() - askedAt >= patienceMilliseconds)
      missed('its drives do not answer');
  };
  const timer = setInterval(() => {
    if (stream.readers === 0) return;
    missedIfLate();
    void look();
    if (performance.now() - sentAt >= TICK_MILLISECONDS) send('tick', {});
  }, lookMilliseconds);
  timer.unref();
  return {
    view: async () => {
      await lookUnlessFresh();
      return view;
    },
    still: (version) => watched.still(version),
    place: () =>
      seen.delivery === null || seen.day === null ? null : { delivery: seen.delivery, day: seen.day },
    add: async (response, headers) => {
      await lookUnlessFresh();
      return stream.add(response, headers, eventOf('whole', JSON.stringify({ number, ...view })));
    },
    end: async () => {
      clearInterval(timer);
      // A look that began before the end does not know of it.
      await withPatience(looking ?? Promise.resolve());
      await withPatience(look());
      isOver = true;
      stream.end(eventOf('end', '{}'));
    },
  };
}
