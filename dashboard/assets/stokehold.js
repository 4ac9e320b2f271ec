// The little that runs in the browser: put a drawing where it belongs.
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  stokehold: {
    draw: function (svg) {
      const name = window.dash_clientside.callback_context.inputs_list[0].id.name;
      const id = JSON.stringify({ name: name, type: "drawing-ground" });
      let tries = 60;
      const put = function () {
        const ground = document.getElementById(id);
        if (ground) ground.innerHTML = svg || "";
        else if (tries-- > 0) window.requestAnimationFrame(put);
      };
      put();
      return window.dash_clientside.no_update;
    },
  },
});
