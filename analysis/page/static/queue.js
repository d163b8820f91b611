// Pictures wait here, in the phone's own store, until the computer has them on disk.
const MOST = 1500;

function promised(request) {
  return new Promise((done, fail) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
  });
}

export class Queue {
  constructor(name) {
    this.name = name;
    this.memory = [];
    this.store = null;
  }
  async open() {
    try {
      const request = indexedDB.open(`wetline ${this.name}`, 1);
      request.onupgradeneeded = () => request.result.createObjectStore("frames", { autoIncrement: true });
      this.store = await promised(request);
    } catch {
      this.store = null; // private windows: keep them in memory
    }
    return this;
  }
  frames(mode) {
    return this.store.transaction("frames", mode).objectStore("frames");
  }
  async put(frame) {
    if (!this.store) {
      this.memory.push(frame);
      if (this.memory.length > MOST) this.memory = this.memory.filter((_, k) => k % 2 === 0);
      return;
    }
    await promised(this.frames("readwrite").add(frame));
    if ((await this.size()) > MOST) await this.thin();
  }
  async thin() { // a day without network: every second picture goes
    const keys = await promised(this.frames("readonly").getAllKeys());
    const frames = this.frames("readwrite");
    keys.forEach((key, k) => { if (k % 2) frames.delete(key); });
  }
  async first() {
    if (!this.store) return this.memory.length ? { key: null, frame: this.memory[0] } : null;
    const cursor = await promised(this.frames("readonly").openCursor());
    return cursor ? { key: cursor.key, frame: cursor.value } : null;
  }
  async drop(key) {
    if (!this.store) this.memory.shift();
    else await promised(this.frames("readwrite").delete(key));
  }
  async size() {
    return this.store ? promised(this.frames("readonly").count()) : this.memory.length;
  }
}
