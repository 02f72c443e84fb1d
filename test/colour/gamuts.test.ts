/** Matrices from primaries, against published ones. */
import { describe, expect, test } from 'vitest';
import { type GamutName, ap0ToAp1, between, gamuts, toAp0, toXyz } from '../../media/colour/gamuts.ts';
import { type Matrix, apply, invert, multiply } from '../../media/colour/matrix.ts';

function close(found: Matrix, wanted: readonly number[], digits: number): void {
  for (const [index, value] of found.flat().entries())
    expect(value).toBeCloseTo(wanted[index] as number, digits);
}

test('AP0 to AP1 is the matrix that the Academy publishes (S-2014-004)', () => {
  close(
    ap0ToAp1,
    [
      1.4514393161, -0.2365107469, -0.2149285693, -0.0765537734, 1.1762296998, -0.0996759264, 0.0083161484,
      -0.0060324498, 0.9977163014,
    ],
    10,
  );
});

test('AP0 to XYZ is the matrix of SMPTE ST 2065-1', () => {
  close(
    toXyz(gamuts.ap0),
    [0.9525523959, 0, 0.0000936786, 0.3439664498, 0.7281660966, -0.0721325464, 0, 0, 1.0088251844],
    10,
  );
});

// SMPTE RP 177 with the primaries of BT.709: the weights of luminance are 0.2126, 0.7152 and 0.0722.
test('BT.709 to XYZ', () => {
  close(
    toXyz(gamuts.bt709),
    [
      0.4123907993, 0.3575843394, 0.1804807884, 0.2126390059, 0.7151686788, 0.0721923154, 0.0193308187,
      0.1191947798, 0.9505321522,
    ],
    10,
  );
});

describe('camera gamuts to AP0', () => {
  // Computed apart from this code with numpy to 10 digits from the published primaries, adapted as media/colour/gamuts.ts says of each; test/colour/ocio.test.ts holds the camera gamuts against OpenColorIO's built-in transforms.
  test.each<[GamutName, number[]]>([
    [
      'sgamut3cine',
      [
        0.6387886672, 0.2723514337, 0.0888598991, -0.003915906, 1.0880732309, -0.0841573249, -0.0299072021,
        -0.0264325799, 1.056339782,
      ],
    ],
    [
      'sgamut3',
      [
        0.7529825954, 0.1433702162, 0.1036471884, 0.0217076974, 1.0153188355, -0.0370265329, -0.0094160527,
        0.0033704179, 1.0060456349,
      ],
    ],
    [
      'awg3',
      [
        0.6802055051, 0.2361366016, 0.0836578933, 0.0854149797, 1.0174708786, -0.1028858583, 0.0020565217,
        -0.0625625004, 1.0605059787,
      ],
    ],
    [
      'awg4',
      [
        0.7509573628, 0.1444227867, 0.1046198505, 0.0008218371, 1.0073975849, -0.008219422, -0.0004999521,
        -0.0008541772, 1.0013541294,
      ],
    ],
    [
      'vgamut',
      [
        0.7246167041, 0.1669152882, 0.1084680077, 0.0213902454, 0.9849081557, -0.0062984011, -0.0092355629,
        -0.0010569056, 1.0102924685,
      ],
    ],
    [
      'rwg',
      [
        0.7850588041, 0.0838587565, 0.1310824394, 0.0231738348, 1.0878975492, -0.111071384, -0.0737604354,
        -0.3145900723, 1.3883505077,
      ],
    ],
    [
      'bt709',
      [
        0.4396329819, 0.3829886982, 0.1773783199, 0.089776443, 0.8134394287, 0.0967841283, 0.0175411704,
        0.1115465533, 0.8709122763,
      ],
    ],
    [
      'bt2020',
      [
        0.6790856347, 0.1577009146, 0.1632134506, 0.0460020031, 0.859054673, 0.0949433239, -0.0005739432,
        0.0284677684, 0.9721061748,
      ],
    ],
    [
      'p3d65',
      [
        0.5189334876, 0.2862565864, 0.194809926, 0.073859383, 0.8198451639, 0.106295453, -0.0003070114,
        0.0438070503, 0.9564999611,
      ],
    ],
  ])('%s', (name, wanted) => close(toAp0(gamuts[name]), wanted, 9));

  test.each(Object.entries(gamuts))('%s keeps grey grey', (_, gamut) => {
    for (const value of apply(toAp0(gamut), [0.18, 0.18, 0.18])) expect(value).toBeCloseTo(0.18, 12);
  });

  // The first row of BT.709 to AP0 adapted in the cone space CAT02, computed apart from this code with numpy; the same matrix stands in the Academy's utility transforms (from memory).
  test('another adaptation gives another matrix', () => {
    const [row] = between(gamuts.bt709, gamuts.ap0, 'cat02');
    for (const [index, value] of [0.4395756842, 0.3839125893, 0.1765117265].entries())
      expect(row[index]).toBeCloseTo(value, 9);
  });
});

test('a matrix times its inverse changes nothing; one without an inverse is refused', () => {
  close(multiply(toAp0(gamuts.rwg), invert(toAp0(gamuts.rwg))), [1, 0, 0, 0, 1, 0, 0, 0, 1], 13);
  expect(() =>
    invert([
      [1, 2, 3],
      [2, 4, 6],
      [0, 0, 1],
    ]),
  ).toThrow(RangeError);
});
