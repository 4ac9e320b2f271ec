"""Builds the pages of one installation."""

from dash import Dash, html

from collector.site import Site


def create_app(site: Site) -> Dash:
    """The Dash application over a site."""
    app = Dash(__name__, title="Stokehold")
    app.layout = html.Div([html.H1("Stokehold"), html.P(", ".join(p.name for p in site.plants))])
    return app
