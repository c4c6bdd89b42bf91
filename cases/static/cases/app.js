/* Small helps on top of pages that work without them. No inline handlers, no eval. */
(function () {
  "use strict";

  /* A refused form comes back with its summary first; the reader must land there. */
  function focusSummary(root) {
    var summary = root.querySelector("[data-errors]");
    if (summary) {
      summary.focus();
    }
    return Boolean(summary);
  }

  /* Each link of the summary goes to its field itself, not only near it. */
  document.addEventListener("click", function (event) {
    var link = event.target.closest ? event.target.closest("[data-errors] a[href^='#']") : null;
    var field = link ? document.getElementById(link.hash.slice(1)) : null;
    if (field) {
      event.preventDefault();
      field.focus();
      field.scrollIntoView({ block: "center" });
    }
  });

  /* Keys are declared where they act: <a data-key="f" href=…>, <button data-key="c">.
     A single letter never fires while someone types or holds a modifier. */
  function typing(target) {
    return Boolean(target && target.closest && target.closest("input, textarea, select, [contenteditable]"));
  }
  document.addEventListener("keydown", function (event) {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) {
      return;
    }
    if (event.key === "j" || event.key === "k") {
      moveRow(event.key === "j" ? 1 : -1, event);
      return;
    }
    var owners = document.querySelectorAll("[data-key]");
    for (var i = 0; i < owners.length; i += 1) {
      var owner = owners[i];
      if (owner.getAttribute("data-key") === event.key && owner.getClientRects().length) {
        event.preventDefault();
        owner.focus();
        if (!owner.matches("input, textarea, select")) {
          owner.click();
        }
        return;
      }
    }
  });

  /* j and k walk the links marked data-row; Enter opens one, being a link. */
  function moveRow(step, event) {
    var rows = Array.prototype.slice.call(document.querySelectorAll("[data-row]"));
    if (!rows.length) {
      return;
    }
    var next = rows.indexOf(document.activeElement) + step;
    event.preventDefault();
    rows[Math.max(0, Math.min(rows.length - 1, next))].focus();
  }

  /* Filters apply on change where script runs; their button stays for everyone else. */
  document.addEventListener("change", function (event) {
    var form = event.target.closest ? event.target.closest("form[data-autosubmit]") : null;
    if (form && event.target.matches("select, input[type='checkbox'], input[type='radio']")) {
      form.requestSubmit();
    }
  });

  /* A second press of the same button must not send the form twice. */
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (form.hasAttribute("data-sent")) {
      event.preventDefault();
      return;
    }
    if ((form.getAttribute("method") || "get").toLowerCase() === "post" && !form.hasAttribute("hx-post")) {
      form.setAttribute("data-sent", "");
    }
  });
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-sent]").forEach(function (form) {
      form.removeAttribute("data-sent");
    });
  });

  document.addEventListener("DOMContentLoaded", function () {
    focusSummary(document);
  });

  /* Forms refused with 422 carry their own corrections, and a refusal that says
     where it wants to stand has something to say: swap them in. */
  document.addEventListener("htmx:beforeSwap", function (event) {
    var xhr = event.detail.xhr;
    var status = xhr.status;
    if (
      status === 409 || status === 412 || status === 422 ||
      xhr.getResponseHeader("HX-Retarget")
    ) {
      event.detail.shouldSwap = true;
      event.detail.isError = false;
    }
  });
  document.addEventListener("htmx:afterSwap", function (event) {
    focusSummary(event.detail.elt || event.target);
  });
  /* Anything else that fails is said aloud; what was typed stays where it is. */
  function failed() {
    var live = document.getElementById("live");
    if (live) {
      live.textContent = live.getAttribute("data-failed") || "";
    }
  }
  document.addEventListener("htmx:responseError", failed);
  document.addEventListener("htmx:sendError", failed);
  document.addEventListener("htmx:beforeRequest", function () {
    var live = document.getElementById("live");
    if (live) {
      live.textContent = "";
    }
  });
})();
