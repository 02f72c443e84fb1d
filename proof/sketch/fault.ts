/** What a picture error is, in words for a finding. */
export interface PictureErrorFault {
  readonly kind: 'frame' | 'region' | 'stated' | 'large' | 'drift';
  readonly found: string;
  readonly expected: string;
}
