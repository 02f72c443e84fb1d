/** Codes of what is written for people to open: pages, contact sheets, and how one day compares with the next. */
import type { CodeEntry } from '../entry.ts';

export const pageCodes = {
  'day-made-otherwise': {
    weight: 'note',
    title: 'deliverables come out otherwise than on the day before',
    remedy:
      'Compare it with what you meant. If it is an accident, put the profile, the settings or the program back to what they were, and run again; what is made already is made again with `--replace`. If it is meant, report it to whoever cuts.',
  },
  'page-differs': {
    weight: 'hold',
    title: 'a page or a contact sheet is not the one that was written',
    remedy:
      'Do not go by it. Keep the file under another name if somebody changed it on purpose, and run `rushlight page <delivery>`: it is written from the records. The verdicts are in roll.json, which no page can change.',
  },
  'page-outdated': {
    weight: 'note',
    title: 'the pages of a day were written from earlier verdicts',
    remedy: 'Run `rushlight page <delivery>`: they are written from the verdicts as they are now.',
  },
  'page-not-written': {
    weight: 'note',
    title: 'a page or a contact sheet could not be written',
    remedy:
      'Read what was found: a full drive, or a file of somebody else under the name. Then run `rushlight page <delivery>`. The verdicts are right without it.',
  },
  'page-address-refused': {
    weight: 'hold',
    title: 'a live page cannot be served at this address',
    remedy:
      'Name another port, or an address of this machine: `rushlight status <delivery> --page 127.0.0.1:<port>`. EADDRINUSE: something else listens there, perhaps another live page. EADDRNOTAVAIL: the machine has no such address. EACCES: ports below 1024 are not for everybody.',
  },
  'page-not-served': {
    weight: 'note',
    title: 'the live page of the run is not served',
    remedy:
      'Run `rushlight status <delivery> --page <address>:<port>` with another port, or an address of this machine: it serves the page while the run goes on. The run does not need it.',
  },
  'still-not-shown': {
    weight: 'note',
    title: 'a still on record is not shown, since its file is not the one on record',
    remedy:
      'Run `rushlight audit <delivery>`: it names every file that is not as its record says. The page shows no picture rather than another one.',
  },
} as const satisfies Record<string, CodeEntry>;
