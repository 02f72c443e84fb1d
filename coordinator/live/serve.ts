/** A live page on an address, from the records of a work folder: in a process of its own (`status --page`), or in a thread of a run. */
import { isLoopback, type ServeAddress } from '../../serve/address.ts';
import { newServer } from '../../serve/server.ts';
import { newFeed } from './feed.ts';
import { type WhatToWatch, watchRecords } from './look.ts';
import { putLivePage } from './routes.ts';
import { keptToken } from './token-file.ts';

/** What can be handed to a thread. */
export interface PageSetup {
  readonly watch: WhatToWatch;
  readonly address: ServeAddress;
  /** Whether it goes on when the run is over. */
  readonly serves: boolean;
}

export interface ServedPage {
  /** Whole, to be typed. */
  readonly addresses: readonly string[];
  /** Tells every reader how it ended, and lets them go. */
  end(): Promise<void>;
}

/** Throws what node:net and node:fs throw: the address is taken, or is none of this machine. */
export async function servePage({ watch, address, serves }: PageSetup): Promise<ServedPage> {
  const token = isLoopback(address.host) ? null : await keptToken(watch.work);
  const feed = newFeed({ watched: watchRecords(watch), serves });
  const server = newServer({ address, token });
  putLivePage(server.app, feed);
  try {
    const addresses = await server.listen();
    return {
      addresses,
      end: async () => {
        await feed.end();
        await server.close();
      },
    };
  } catch (error) {
    await server.close();
    throw error;
  }
}
