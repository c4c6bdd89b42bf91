/* Small helps for forms whose parts come back from the server. */
(function () {
  "use strict";

  /* What a person opened or closed stays so when its part is swapped. */
  var open = {};
  document.addEventListener("htmx:beforeSwap", function (event) {
    var target = event.detail.target;
    if (target && target.querySelectorAll) {
      target.querySelectorAll("details[id]").forEach(function (part) {
        open[part.id] = part.open;
      });
    }
  });
  document.addEventListener("htmx:afterSwap", function () {
    Object.keys(open).forEach(function (id) {
      var part = document.getElementById(id);
      if (part && open[id] && !part.hasAttribute("data-closes")) {
        part.open = true;
      }
    });
    open = {};
    mark();
  });

  /* A row's message tells assistive technology which fields it speaks of. */
  function mark() {
    document.querySelectorAll(".reading").forEach(function (row) {
      var told = document.getElementById(row.id + "-errors");
      var named = told ? (told.getAttribute("data-bad") || "").split(" ") : [];
      row.classList.toggle("reading-bad", Boolean(told && told.textContent.trim()));
      row.querySelectorAll("input[inputmode]").forEach(function (field) {
        if (named.indexOf(field.id) >= 0) {
          field.setAttribute("aria-invalid", "true");
        } else {
          field.removeAttribute("aria-invalid");
        }
      });
    });
  }
  document.addEventListener("htmx:oobAfterSwap", mark);

  /* A button pressed while a change is still on its way waits for it: sent beside
     it, the draft would meet its own newer version and take it for a colleague's. */
  var sent = new Map(); /* request to form: its element may be gone at the end */
  var held = null;
  document.addEventListener("htmx:beforeSend", function (event) {
    sent.set(event.detail.xhr, event.detail.elt.closest("form"));
  });
  document.addEventListener("htmx:afterRequest", function (event) {
    sent.delete(event.detail.xhr);
    window.setTimeout(release, 0); /* a queued change goes first */
  });
  function underway(form) {
    return Array.from(sent.values()).indexOf(form) >= 0;
  }
  function release() {
    if (!held || underway(held.form)) {
      return;
    }
    var press = held;
    held = null;
    if (press.form.isConnected && (!press.button || press.button.isConnected)) {
      press.form.requestSubmit(press.button);
    }
  }
  document.addEventListener("submit", function (event) {
    if (underway(event.target)) {
      event.preventDefault();
      event.stopImmediatePropagation();
      held = { form: event.target, button: event.submitter };
    }
  }, true);

  /* What someone typed or chose while a part was on its way is put into the part
     that comes, and told again once htmx listens to it. */
  var asked = new Map(); /* request to what the fields said when it was sent */
  var late = {};
  function fields(root) {
    return Array.from(root.querySelectorAll("input[id], select[id], textarea[id]")).filter(function (field) {
      return field.type !== "hidden" && field.type !== "file";
    });
  }
  function said(field) {
    return field.type === "checkbox" || field.type === "radio" ? field.checked : field.value;
  }
  document.addEventListener("htmx:beforeSend", function (event) {
    var values = {};
    fields(event.detail.elt.closest("form") || document).forEach(function (field) {
      values[field.id] = said(field);
    });
    asked.set(event.detail.xhr, values);
  });
  document.addEventListener("htmx:beforeSwap", function (event) {
    var values = asked.get(event.detail.xhr) || {};
    fields(event.detail.target).forEach(function (field) {
      if (field.id in values && values[field.id] !== said(field)) {
        late[field.id] = said(field);
      }
    });
  });
  document.addEventListener("htmx:afterSwap", function () {
    Object.keys(late).forEach(function (id) {
      var field = document.getElementById(id);
      if (field && typeof late[id] === "boolean") {
        field.checked = late[id];
      } else if (field) {
        field.value = late[id];
      }
    });
  });
  document.addEventListener("htmx:afterSettle", function () {
    var ids = Object.keys(late);
    late = {};
    ids.forEach(function (id) {
      var field = document.getElementById(id);
      if (field) {
        field.dispatchEvent(new Event("change", { bubbles: true }));
      }
    });
  });
  document.addEventListener("htmx:afterRequest", function (event) {
    asked.delete(event.detail.xhr);
  });
})();
