/** Codes of who is at work where: leases of deliveries, and ids of machines. */
import type { CodeEntry } from '../entry.ts';

export const leaseCodes = {
  'delivery-in-use': {
    weight: 'hold',
    title: 'another run is at work on this delivery',
    remedy:
      'Wait for it to end and run again, or run with --wait-for-run, which begins when the other has ended. `rushlight status` on the delivery shows it. If its machine is gone, run again: a run that gives no sign for a minute is taken for dead.',
  },
  'delivery-taken-over': {
    weight: 'hold',
    title: 'another run took this delivery over',
    remedy:
      'Let the other run end, then run again: only what is not finished is made. It happens when this machine, or its connection to the delivery, stood still for a minute.',
  },
  'lease-not-confirmed': {
    weight: 'hold',
    title: 'this run could not renew its lease on the delivery for too long',
    remedy:
      'Check the connection to the delivery drive, then run again: only what is not finished is made. Nothing is published meanwhile, since another run may take this one for dead.',
  },
  'machine-id-not-kept': {
    weight: 'note',
    title: 'this machine cannot keep an id of its own',
    remedy:
      'Make the state folder writable (XDG_STATE_HOME, by default ~/.local/state). Until then what a killed run left unfinished is cleared a minute later than usual.',
  },
} as const satisfies Record<string, CodeEntry>;
