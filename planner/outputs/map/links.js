// Links to a site: #site=<identifier>, or #row=<row of the inventory> where the identifier is missing or not the only
// one of its kind, then &language= and &layer= where they are not those that the file opens with. What stands after #
// is looked up among what the page knows, never used as anything else.

const LINK_KEYS = ["site", "row", "language", "layer"];

function makeLinks({ sites, run }, open, close) {
  let following = false;
  let shown = -1;
  let places = null;

  // Identifiers that only one site has, and rows.
  function known() {
    places = places || sitePlaces(sites);
    return places;
  }

  function hashOf(index) {
    const { ids } = known();
    const id = sites.site_id[index];
    const parts = [];
    if (index >= 0) parts.push(ids.get(id) === index && isWellFormed(id) ? ["site", id] : ["row", String(sites.inventory_row[index])]);
    if (speech.language !== run.language) parts.push(["language", speech.language]);
    const layer = byId("layer");
    if (layer.selectedIndex > 0) parts.push(["layer", layer.value]);
    return parts.length ? `#${parts.map(([key, value]) => `${key}=${escaped(value)}`).join("&")}` : "";
  }

  function tell(index) {
    shown = index;
    const wanted = hashOf(index);
    if (!following && wanted !== window.location.hash) window.history.pushState(null, "", wanted || window.location.pathname);
  }

  // What the address names: the index of a site, -1 for none, -2 for one that the page does not have.
  function named(parts) {
    const { ids, rows } = known();
    if (parts.has("site")) return ids.get(parts.get("site")) ?? -2;
    if (parts.has("row")) return rows.get(Number(parts.get("row"))) ?? -2;
    return -1;
  }

  function follow() {
    const parts = new URLSearchParams(window.location.hash.slice(1));
    if (window.location.hash.length > 1 && !LINK_KEYS.some((key) => parts.has(key))) return;
    following = true;
    choose(byId("language"), parts.get("language"));
    choose(byId("layer"), parts.get("layer"));
    const index = named(parts);
    if (index >= 0 && index !== shown) open(index, null);
    else if (index < 0) close();
    tellUnknown(index === -2);
    following = false;
  }

  // Going back and an address typed by hand tell differently, some browsers both.
  window.addEventListener("popstate", follow);
  window.addEventListener("hashchange", follow);
  return { tell, follow, addressOf: (index) => window.location.href.split("#")[0] + hashOf(index) };
}

function sitePlaces(sites) {
  const ids = new Map();
  const rows = new Map();
  for (let index = 0; index < sites.count; index += 1) {
    const id = sites.site_id[index];
    if (id) ids.set(id, ids.has(id) ? -2 : index);
    rows.set(sites.inventory_row[index], index);
  }
  return { ids, rows };
}

// Half of a surrogate pair cannot be written in an address.
function isWellFormed(text) {
  try {
    return encodeURIComponent(text) !== "";
  } catch {
    return false;
  }
}

// Mail programs end a link at a bracket or a quote.
function escaped(text) {
  return encodeURIComponent(text).replace(/[!'()*~]/g, (letter) => `%${letter.charCodeAt(0).toString(16).toUpperCase()}`);
}

function choose(select, value) {
  if (value === null || select.value === value || ![...select.options].some((option) => option.value === value)) return;
  select.value = value;
  select.dispatchEvent(new Event("change", { bubbles: true }));
}

function tellUnknown(unknown) {
  const note = byId("link-note");
  note.hidden = !unknown;
  note.textContent = unknown ? say("page_link_unknown") : "";
}

// A button that puts the link on the clipboard; where that is not allowed, the link stands below, selected.
function copyButton(addressOf) {
  const button = element("button", "link", say("page_copy_link"));
  const field = element("input", "address");
  button.type = "button";
  field.readOnly = true;
  field.hidden = true;
  field.setAttribute("aria-label", say("page_link"));
  const said = element("span", "quiet");
  said.setAttribute("role", "status");
  button.addEventListener("click", async () => {
    field.value = addressOf();
    try {
      await navigator.clipboard.writeText(field.value);
      said.textContent = say("page_link_copied");
    } catch {
      field.hidden = false;
      field.focus();
      field.select();
      said.textContent = say("page_link_select");
    }
  });
  return [button, said, field];
}
