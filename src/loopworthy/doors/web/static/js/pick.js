// A choice that was made before htmx had come, or that the browser filled in again, is asked about as if it were made now.

export function attach(root = document) {
  for (const form of root.querySelectorAll('form[hx-trigger="change"]')) {
    if ([...form.elements].some((field) => field.checked !== field.defaultChecked)) {
      form.dispatchEvent(new Event("change", { bubbles: true }));
    }
  }
}
