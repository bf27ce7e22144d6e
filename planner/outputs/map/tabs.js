// The tabs of the panel, and the switch between the short and the whole table.

function startTabs() {
  const tabs = [...document.querySelectorAll("[role=tab]:not([hidden])")];
  function open(chosen) {
    for (const tab of tabs) {
      tab.setAttribute("aria-selected", String(tab === chosen));
      tab.tabIndex = tab === chosen ? 0 : -1;
      byId(tab.getAttribute("aria-controls")).hidden = tab !== chosen;
    }
    byId(chosen.getAttribute("aria-controls")).dispatchEvent(new Event("shown"));
  }
  tabs.forEach((tab, place) => {
    tab.addEventListener("click", () => open(tab));
    tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = tabs[(place + step + tabs.length) % tabs.length];
      open(next);
      next.focus();
    });
  });
  return (id) => {
    open(byId(id));
    byId(byId(id).getAttribute("aria-controls")).focus();
  };
}

function startColumnSwitch(reframe) {
  const button = byId("columns-toggle");
  button.addEventListener("click", () => {
    reframe(() => document.body.classList.toggle("whole-table"));
    button.setAttribute("aria-pressed", String(document.body.classList.contains("whole-table")));
  });
}
