// Photographs of a form, made small enough for a weak signal before they are kept.
"use strict";

((phone) => {
  const LONG_SIDE_PX = 1600;
  const QUALITY = 0.82;
  const ids = new WeakMap(); // one photograph, one id, however often its form is sent

  async function shrink(file) {
    try {
      const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
      const scale = Math.min(1, LONG_SIDE_PX / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      picture.close();
      const small = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
      return small || file;
    } catch {
      return null; // asked about now: once the form is gone nobody can choose another
    }
  }

  // The photographs chosen in a form, ready to be kept: {id, slot, at, blob} each. Throws {faults} by field where a
  // file is none.
  phone.pictures = async (form) => {
    const found = [];
    const faults = {};
    for (const input of form.querySelectorAll('input[type="file"]')) {
      const slot = Number(/^slot(\d+)-photo$/.exec(input.name)?.[1] || 0);
      for (const file of input.files) {
        if (!slot || !file.size) continue;
        if (!ids.has(file)) ids.set(file, crypto.randomUUID());
        const blob = await shrink(file);
        if (!blob) faults[input.name] = [phone.word("noPhoto")];
        found.push({ id: ids.get(file), slot, at: file.lastModified || Date.now(), blob });
      }
    }
    if (Object.keys(faults).length) throw { faults };
    return found;
  };
})(self.phone);
