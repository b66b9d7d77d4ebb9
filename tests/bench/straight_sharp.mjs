// Pictures of frames, written straight with sharp: `straight_sharp.mjs JOB.json` (see tests/bench/straight.py).

import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const sharp = createRequire(new URL('../../.judges/', import.meta.url))('sharp');

for (const { file, pictures } of JSON.parse(readFileSync(process.argv[2], 'utf8'))) {
  const frame = sharp(file, { limitInputPixels: false }).autoOrient();
  for (const { box, size, out, quality, alike, effort } of pictures) {
    const format = out.split('.').at(-1);
    const options =
      format === 'webp' ? { effort, smartSubsample: true } : { chromaSubsampling: '4:4:4', optimiseCoding: false };
    const [left, top, width, height] = box;
    await frame
      .clone()
      .extract({ left, top, width, height })
      .resize({ width: size[0], height: size[1], fit: 'fill', kernel: 'lanczos3' })
      .toColourspace('srgb')
      .withIccProfile('srgb')
      .toFormat(format, { quality, ...(alike ? options : {}) })
      .toFile(out);
  }
}
