/* What a browser keeps of a tab, so that a page that is loaded anew shows the same. */

const NAME = "metersim explore";

/** Keep something, if the browser keeps anything. */
export function keep(shown) {
  try {
    sessionStorage.setItem(NAME, JSON.stringify(shown));
  } catch {
    // a browser that keeps nothing still explores
  }
}

/** What was kept, or null. */
export function kept() {
  try {
    return JSON.parse(sessionStorage.getItem(NAME));
  } catch {
    return null;
  }
}
