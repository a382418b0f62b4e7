// What every view has: progress that is told as it comes. Without this script a
// view is loaded again by its link.
"use strict";
document.documentElement.classList.add("js");

for (const box of document.querySelectorAll("[data-events]")) {
  const news = new EventSource(box.dataset.events);
  news.onmessage = (e) => {
    const job = JSON.parse(e.data);
    const list = document.createElement("ul");
    for (const t of job.tasks) {
      const item = document.createElement("li");
      item.textContent = t.name + ": " + t.far + " ";
      if (t.total > 0) {
        const bar = document.createElement("progress");
        bar.max = t.total;
        bar.value = t.done;
        bar.setAttribute("aria-label", t.name);
        item.append(bar);
      }
      list.append(item);
    }
    if (job.tasks.length === 0) {
      const item = document.createElement("li");
      item.textContent = job.outcome;
      list.append(item);
    }
    box.replaceChildren(list);
    if (!job.under_way) {
      news.close();
      location.reload();
    }
  };
  news.onerror = () => { if (news.readyState === EventSource.CLOSED) location.reload(); };
}
