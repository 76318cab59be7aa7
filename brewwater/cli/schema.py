"""``brewwater schema``: the shape of the plan document and of the results."""

from __future__ import annotations

import click


@click.command()
def schema() -> None:
    """Print the JSON Schema of the plan document and of the JSON results."""
    import json

    from brewwater.output.result_schema import PlanResult, ReportResult
    from brewwater.planning.document import PlanDocument

    click.echo(
        json.dumps(
            {
                "plan_document": PlanDocument.model_json_schema(),
                "plan": PlanResult.model_json_schema(mode="serialization"),
                "report": ReportResult.model_json_schema(mode="serialization"),
            },
            indent=2,
        )
    )
