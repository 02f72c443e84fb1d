/** What the decoders that come with this program, and those of LibRaw, are called in settings, facts and reports. */
export const OWN_DECODER = 'own';
export const LIBRAW_DECODER = 'libraw';
