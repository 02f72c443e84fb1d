/** Sentences that several remedies share. */

/**
 * What a check found wrong, in a run or in an audit. `repeats`: what to do when a second run gives the same.
 * A run has published nothing; an audit may have no source, so the other copy of the delivery comes first.
 */
export const inDelivery = (repeats: string): string =>
  `Restore the deliverable from another copy of the delivery, if an audit found this, and do not hand this one out. In a run nothing was published: run again. ${repeats}`;

/** For a source that may be damaged. */
export const COMPARE = 'Compare the file with the card and with the other copies of the roll.';

export const KEEP_CARD = 'If every copy is the same, the shot is damaged: do not erase the card.';
