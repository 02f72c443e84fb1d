/** A tenth more than estimated, of bytes or of files: estimates err, and others write too. Planning and reserving must agree on it. */
export const withMargin = (amount: number): number => Math.ceil((amount * 11) / 10);
