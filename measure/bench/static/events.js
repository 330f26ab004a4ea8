// What the bench program tells by itself: progress, and changes made in another window.

/**
 * @param {string} path of the event stream
 * @param {(event: import("./types.js").News) => void} told
 * @param {(answering: boolean) => void} link called when the program stops or starts answering
 */
export function listen(path, told, link) {
  let patience = 0;
  /** @type {EventSource} */
  let source;
  const open = () => {
    source = new EventSource(path);
    source.onopen = () => {
      clearTimeout(patience);
      patience = 0;
      link(true);
    };
    source.onmessage = (message) => told(JSON.parse(message.data));
    source.onerror = () => {
      patience ||= setTimeout(() => link(false), 1500);
      if (source.readyState === EventSource.CLOSED) setTimeout(open, 2000);
    };
  };
  open();
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (e) => e.persisted && open());
}
