/* How does a line of text travel inside a PNG, and several files inside one zip?

   A PNG is a signature and chunks: length, type, data, CRC-32 of type and data. Text that any
   program may keep stands in an iTXt chunk: keyword, 0, compression flag and method, language, 0,
   translated keyword, 0, text in UTF-8 (W3C, Portable Network Graphics, third edition, 11.3.3.4).
   The zip is written without compression, which PNGs do not need. */
(function () {
  "use strict";

  const SIGNATURE = [137, 80, 78, 71, 13, 10, 26, 10];
  const LONGEST_TEXT = 65536; // bytes of a text that is read, once unpacked
  const TABLE = new Uint32Array(256).map((_, byte) => {
    let rest = byte;
    for (let bit = 0; bit < 8; bit += 1) rest = rest & 1 ? 0xedb88320 ^ (rest >>> 1) : rest >>> 1;
    return rest;
  });

  function crc32(bytes) {
    let crc = 0xffffffff;
    for (let i = 0; i < bytes.length; i += 1) crc = TABLE[(crc ^ bytes[i]) & 255] ^ (crc >>> 8);
    return (crc ^ 0xffffffff) >>> 0;
  }

  function joined(parts) {
    const whole = new Uint8Array(parts.reduce((length, part) => length + part.length, 0));
    let at = 0;
    parts.forEach((part) => {
      whole.set(part, at);
      at += part.length;
    });
    return whole;
  }

  function isPng(bytes) {
    return SIGNATURE.every((byte, i) => bytes[i] === byte);
  }

  /* The chunks as [{type, data, start, end}], start and end of the whole chunk in the file. */
  function chunks(bytes) {
    if (!isPng(bytes)) throw new Error("is not a PNG");
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const found = [];
    let at = SIGNATURE.length;
    while (at < bytes.length) {
      const end = at + 12 + (at + 12 <= bytes.length ? view.getUint32(at) : 0);
      if (end > bytes.length) break;
      const body = bytes.subarray(at + 4, end - 4);
      if (crc32(body) !== view.getUint32(end - 4)) throw new Error("is a damaged PNG");
      const type = String.fromCharCode(...body.subarray(0, 4));
      found.push({ type: type, data: body.subarray(4), start: at, end: end });
      if (type === "IEND") return found;
      at = end;
    }
    throw new Error("is a PNG that was cut short");
  }

  /* The same PNG with a text chunk behind its header. */
  function withText(bytes, keyword, text) {
    const written = new TextEncoder();
    const body = joined([
      written.encode("iTXt" + keyword),
      new Uint8Array(5), // end of keyword, not compressed, method 0, no language, no translation
      written.encode(text),
    ]);
    const chunk = new Uint8Array(body.length + 8);
    const view = new DataView(chunk.buffer);
    view.setUint32(0, body.length - 4);
    chunk.set(body, 4);
    view.setUint32(body.length + 4, crc32(body));
    const header = chunks(bytes)[0];
    return joined([bytes.subarray(0, header.end), chunk, bytes.subarray(header.end)]);
  }

  /* A promise of the text under a keyword; null where there is none. */
  async function textOf(bytes, keyword) {
    for (const { type, data } of chunks(bytes)) {
      if (type !== "iTXt") continue;
      const ends = [data.indexOf(0)];
      ends.push(data.indexOf(0, ends[0] + 3));
      ends.push(data.indexOf(0, ends[1] + 1));
      if (ends.includes(-1)) continue;
      if (new TextDecoder("latin1").decode(data.subarray(0, ends[0])) !== keyword) continue;
      const packed = data[ends[0] + 1] === 1;
      const text = data.subarray(ends[2] + 1);
      const plain = packed ? await unpacked(text) : text;
      return new TextDecoder("utf-8", { fatal: true }).decode(plain);
    }
    return null;
  }

  async function unpacked(bytes) {
    const packed = new Blob([bytes]).stream();
    const reader = packed.pipeThrough(new DecompressionStream("deflate")).getReader();
    const parts = [];
    let length = 0;
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return joined(parts);
      parts.push(value);
      length += value.length;
      if (length > LONGEST_TEXT) {
        await reader.cancel();
        throw new Error("holds a text that is too long");
      }
    }
  }

  /* Numbers of 2 or 4 bytes, the lowest first: fields([[2, 20], [4, 7]]). */
  function fields(list) {
    const bytes = new Uint8Array(list.reduce((length, [size]) => length + size, 0));
    const view = new DataView(bytes.buffer);
    let at = 0;
    list.forEach(([size, value]) => {
      if (size === 2) view.setUint16(at, value, true);
      else view.setUint32(at, value, true);
      at += size;
    });
    return bytes;
  }

  /* A zip of [{name, bytes}], all saved at one moment. */
  function zip(files, moment) {
    const clock = [moment.getHours(), moment.getMinutes(), moment.getSeconds()];
    const time = (clock[0] << 11) | (clock[1] << 5) | (clock[2] >> 1);
    const months = (moment.getFullYear() - 1980) * 16 + moment.getMonth() + 1;
    const day = (months << 5) | moment.getDate();
    const bodies = [];
    const directory = [];
    let at = 0;
    files.forEach((file) => {
      const name = new TextEncoder().encode(file.name);
      const size = file.bytes.length;
      // Version 2.0, names in UTF-8, stored, time, day, CRC, size twice, lengths of name and more.
      const shared = [[2, 20], [2, 2048], [2, 0], [2, time], [2, day], [4, crc32(file.bytes)],
        [4, size], [4, size], [2, name.length], [2, 0]];
      const head = joined([fields([[4, 0x04034b50], ...shared]), name]);
      directory.push(
        fields([[4, 0x02014b50], [2, 20], ...shared, [2, 0], [2, 0], [2, 0], [4, 0], [4, at]]),
        name
      );
      bodies.push(head, file.bytes);
      at += head.length + size;
    });
    const listed = joined(directory);
    const end = [[4, 0x06054b50], [2, 0], [2, 0], [2, files.length], [2, files.length],
      [4, listed.length], [4, at], [2, 0]];
    return joined([...bodies, listed, fields(end)]);
  }

  window.crestlinePng = { isPng: isPng, withText: withText, textOf: textOf, zip: zip };
})();
