"""Inputs of an estimate: schema, project files, quick description, checks."""

from binestimator.inputs.given import DEFAULT_CANDIDATES
from binestimator.inputs.problems import InputErrors, Problem
from binestimator.inputs.project import Candidate, Project
from binestimator.inputs.read import project_from_mapping, read_project
from binestimator.inputs.reference import documentation_markdown
from binestimator.inputs.schema import FIELDS, Field, fields_of, record_type
from binestimator.inputs.write import project_to_toml

__all__ = [
    "DEFAULT_CANDIDATES",
    "FIELDS",
    "Candidate",
    "Field",
    "InputErrors",
    "Problem",
    "Project",
    "documentation_markdown",
    "fields_of",
    "project_from_mapping",
    "project_to_toml",
    "read_project",
    "record_type",
]
