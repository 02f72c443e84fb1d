/**
 * Events to readers (WHATWG HTML, 9.2: server-sent events). Whoever writes never waits: a reader who does not take what is sent
 * is dropped, and finds the whole again when it comes back.
 */
import type { ServerResponse } from 'node:http';

/** What may wait for one reader, bytes. */
export const MOST_WAITING = 1_000_000;
export const MOST_READERS = 64;
/** How long a browser waits before it comes back. */
const AGAIN_MILLISECONDS = 3_000;

export interface Stream {
  readonly readers: number;
  /** False: there are too many. `first` is sent to this reader alone. */
  add(response: ServerResponse, headers: Readonly<Record<string, string>>, first: string): boolean;
  /** To all of them. */
  send(event: string): void;
  /** Says `last` and lets them go. */
  end(last: string): void;
}

/** `data` without line breaks: JSON. */
export const eventOf = (name: string, data: string): string => `event: ${name}\ndata: ${data}\n\n`;

export function newStream(mostWaiting = MOST_WAITING, mostReaders = MOST_READERS): Stream {
  const readers = new Set<ServerResponse>();
  const give = (reader: ServerResponse, text: string): void => {
    if (reader.destroyed || reader.writableEnded) {
      readers.delete(reader);
      return;
    }
    if (reader.writableLength + text.length > mostWaiting) {
      readers.delete(reader);
      reader.destroy();
      return;
    }
    reader.write(text);
  };
  return {
    get readers() {
      return readers.size;
    },
    add(response, headers, first) {
      if (readers.size >= mostReaders) return false;
      const forget = (): void => void readers.delete(response);
      response.on('close', forget);
      // A connection that broke is no fault of ours.
      response.on('error', forget);
      response.writeHead(200, {
        ...headers,
        'content-type': 'text/event-stream; charset=utf-8',
        // What ends is not kept for another request.
        connection: 'close',
      });
      readers.add(response);
      give(response, `retry: ${AGAIN_MILLISECONDS}\n\n${first}`);
      return true;
    },
    send(event) {
      for (const reader of [...readers]) give(reader, event);
    },
    end(last) {
      for (const reader of [...readers]) {
        give(reader, last);
        if (!reader.destroyed) reader.end();
      }
      readers.clear();
    },
  };
}
